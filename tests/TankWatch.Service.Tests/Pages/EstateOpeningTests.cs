using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Service.Sites;
using Xunit;
using static TankWatch.Service.Tests.Pages.Buildings;

namespace TankWatch.Service.Tests.Pages;

public sealed class EstateOpeningTests
{
    private static readonly SiteView Well = Building("well", "Well House");
    private static readonly SiteView Dry = Building("tern", "Ternhouse", Alert(FindingKind.RepeatedDryTrips));
    private static readonly SiteView Dark = Building("dark", "Dark Row", Alert(FindingKind.PowerFailure, Priority.Medium));
    private static readonly SiteView TakenOn = Building("taken", "Taken Row", Alert(FindingKind.RunningOut, Priority.Critical, state: AlertState.Acknowledged));
    private static readonly SiteView Shelved = Building("shelved", "Shelved Row", Alert(FindingKind.Leak, state: AlertState.Shelved));
    private static readonly SiteView Unheard = Unheard("new", "New Row");

    public static TheoryData<string, SiteView[]> Openings { get; } = new()
    {
        { "There is no building yet.", [] },
        { "Ternhouse needs a hand: its pump keeps stopping because no water comes.", [Dry] },
        { "Taken Row is in hand: it is running out of water.", [TakenOn] },
        { "Well House needs no hand.", [Well] },
        { "Shelved Row needs no hand; something is put aside there.", [Shelved] },
        { "Nothing has been heard of New Row yet.", [Unheard] },
        { "None of 2 buildings needs a hand.", [Well, Building("also", "Also Well")] },
        { "None of 3 buildings needs a hand. At 1 something is put aside. 1 has not been heard of yet.", [Well, Shelved, Unheard] },
        { "Nothing has been heard of 2 buildings yet.", [Unheard, Unheard("newer", "Newer Row")] },
        { "1 of 2 buildings needs a hand. Ternhouse: its pump keeps stopping because no water comes.", [Well, Dry] },
        { "2 of 3 buildings need a hand. Ternhouse first: its pump keeps stopping because no water comes.", [Dark, Well, Dry] },
        { "None of 2 buildings needs a hand; 1 is in hand.", [Well, TakenOn] },
        { "1 of 3 buildings needs a hand, 1 is in hand. Dark Row: its mains are off.", [Well, TakenOn, Dark] },
        {
            "None of 3 buildings needs a hand; 2 are in hand.",
            [Well, TakenOn, Building("held", "Held Row", Alert(FindingKind.Leak, state: AlertState.Acknowledged))]
        },
    };

    [Theory]
    [MemberData(nameof(Openings), DisableDiscoveryEnumeration = true)]
    public void The_page_opens_with_who_needs_somebody_and_why(string opening, SiteView[] sites) => Assert.Equal(opening, Estate(sites).Opening());

    [Theory]
    [InlineData("tern", null, "1 of 4 buildings matches “tern”. Ternhouse needs a hand: its pump keeps stopping because no water comes.")]
    [InlineData("row", null, "2 of 4 buildings match “row”. 1 of them needs a hand. Dark Row: its mains are off.")]
    [InlineData("house", "any", "2 of 4 buildings match “house”. 1 of them needs a hand. Ternhouse: its pump keeps stopping because no water comes.")]
    [InlineData("shelved", "any", "1 of 4 buildings matches “shelved”. Shelved Row needs no hand; something is put aside there.")]
    [InlineData("nowhere", null, "No building matches “nowhere”.")]
    [InlineData("nowhere", "power-failure", "No building matches “nowhere”.")]
    [InlineData(null, "any", "2 of 4 buildings need a hand. Ternhouse first: its pump keeps stopping because no water comes.")]
    [InlineData(null, "power-failure", "Power cut: 1 of 4 buildings, Dark Row.")]
    [InlineData("row", "power-failure", "Power cut: 1 of 2 buildings that match “row”, Dark Row.")]
    [InlineData(null, "leak", "Leak: none of 4 buildings has this now.")] // One has it, and it was put aside.
    [InlineData("row", "leak", "Leak: none of 2 buildings that match “row” has this now.")]
    public void A_search_and_a_narrowed_list_have_openings_of_their_own(string? search, string? wrong, string opening) =>
        Assert.Equal(opening, Estate([Well, Dry, Dark, Shelved], search, wrong).Opening());

    [Fact]
    public void The_reason_is_the_worst_that_nobody_has_acknowledged()
    {
        var both = Building(
            "both", "Both", Alert(FindingKind.RunningOut, Priority.Critical, state: AlertState.Acknowledged), Alert(FindingKind.PowerFailure, Priority.Low));
        Assert.Equal("Both needs a hand: its mains are off.", Estate([both]).Opening());
    }

    [Fact]
    public void Names_and_what_was_typed_are_parts_of_their_own()
    {
        var opening = Estate([Dry, Well], "house").Opening;
        Assert.Equal(["house", "Ternhouse"], opening.Where(part => part.As == TankWatch.Service.Pages.SaidAs.Name).Select(part => part.Text));
        Assert.Equal("/sites/tern", opening.Single(part => part.Text == "Ternhouse").Address);
    }

    [Fact]
    public void Every_kind_has_plain_words()
    {
        foreach (var kind in Enum.GetValues<FindingKind>())
        {
            var estate = Estate([Building("b", "B", Alert(kind))], wrong: FindingNames.Of(kind));
            Assert.StartsWith($"{TankWatch.Service.Pages.KindWords.Name(kind)}: 1 of 1 building, B.", estate.Opening(), StringComparison.Ordinal);
            Assert.StartsWith("B needs a hand: ", Estate([Building("b", "B", Alert(kind))]).Opening(), StringComparison.Ordinal);
        }
    }

    [Fact]
    public void The_tab_says_how_many_need_a_hand_and_no_name()
    {
        Assert.Equal("TankWatch: 2 of 3 buildings need a hand", Estate([Dark, Well, Dry]).Title);
        Assert.Equal("TankWatch: buildings", Estate([Well]).Title);
        Assert.Equal("TankWatch: buildings", Estate([Dark, Well, Dry], "tern").Title);
    }
}
