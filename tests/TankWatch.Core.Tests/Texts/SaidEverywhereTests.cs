using System.Text.RegularExpressions;
using TankWatch.Core.Findings;
using TankWatch.Core.Sites;
using TankWatch.Core.Tests.Findings;
using TankWatch.Core.Tests.Replaying;
using TankWatch.Core.Texts;
using TankWatch.Core.Timelines;
using Xunit;

namespace TankWatch.Core.Tests.Texts;

/// <summary>All that is said of findings of every kind and of the state of a site: nothing of it may stand in the code.</summary>
public sealed partial class SaidEverywhereTests
{
    private static readonly string[] Recordings =
        ["o03c_leak_200", "o04_weak_pump", "o05_pump_decline", "o07_backdrain", "o08_supply_failure", "o09_guests", "o10_short_cycling"];

    /// <summary>Every finding with the site that it is of.</summary>
    private static readonly Lazy<List<(SitePlan Plan, Finding Finding)>> All = new(() =>
    [
        .. FindingTextTests.Days().SelectMany(day => day.Findings.Select(finding => (day.Plan, finding))),
        .. Recordings.Select(name => Recorded.Of(name).Result).SelectMany(result => result.Findings.Select(finding => (result.Plan, finding))),
        (Plans.House(), FindingTextTests.Silent()),
    ]);

    private static IEnumerable<string> Data(SitePlan plan) =>
    [
        plan.Name, .. plan.Tanks.Select(tank => tank.Id.Value), .. plan.Pumps.Select(pump => pump.Id.Value), .. plan.Units.Select(unit => unit.Id.Value),
        .. plan.Tanks.SelectMany(tank => tank.Probes.Select(probe => probe.Name)),
    ];

    private static IEnumerable<string> Lines(SpokenText text) => [text.Summary, .. text.Evidence, .. text.Advice, .. text.Cautions];

    [Fact]
    public void Every_kind_that_a_single_site_can_have_is_among_them() => Assert.Equal(
        Enum.GetValues<FindingKind>().Where(kind => kind is not (FindingKind.AreaOutage or FindingKind.ServiceFault)), All.Value.Select(said => said.Finding.Kind).Distinct().Order());

    [Fact]
    public void No_word_of_a_finding_stands_in_the_code() => Assert.All(All.Value, said => Assert.All(
        Lines(said.Finding.Text.In(PseudoLanguage.Made)), line => Assert.Equal(("", line), (PseudoLanguage.Strangers(line, Data(said.Plan)), line))));

    [Fact]
    public void No_word_about_the_state_of_a_site_stands_in_the_code() => Assert.All(
        FindingTextTests.Days().SelectMany(day => new[] { 0, 3, 72, 400 }.SelectMany(hours => Sentences(day, day.State.TickedTo.AddHours(hours)).Select(line => (day.Plan, line)))),
        said => Assert.Equal(("", said.line), (PseudoLanguage.Strangers(said.line, Data(said.Plan)), said.line)));

    private static string[] Sentences(Outcome day, DateTimeOffset now) =>
        [PseudoLanguage.Made.Say(SiteSentences.Water(day.Plan, day.State, now)), PseudoLanguage.Made.Say(SiteSentences.Pumps(day.Plan, day.State, now))];

    [Fact]
    public void A_word_that_stands_in_the_code_would_be_seen()
    {
        var made = Phrase.Of("pump.since.resting", ("since", Phrase.Literal("dawn")), ("pump", "p1"), ("why", Phrase.Of("pump.why.power")), ("manual", Phrase.Literal("")));
        Assert.Equal("dawn", PseudoLanguage.Strangers(PseudoLanguage.Made.Say(made), ["p1"]));
    }

    [Theory]
    [InlineData("hi")]
    [InlineData("ta")]
    [InlineData("ar")]
    [InlineData("pt")]
    public void Every_finding_is_said_whole_in_every_language(string tag) => Assert.All(All.Value, said =>
    {
        var (own, english) = (said.Finding.Text.In(Languages.Of(tag)), said.Finding.Text.In(Languages.English));
        Assert.All(Lines(own).Zip(Lines(english)), pair =>
        {
            Assert.NotEqual(pair.Second, pair.First);
            Assert.DoesNotMatch(@"[\r\n{}]|  |\bNaN\b|∞", pair.First);
            var rest = Data(said.Plan).OrderByDescending(name => name.Length).Aggregate(pair.First, (line, name) => line.Replace(name, "", StringComparison.Ordinal));
            Assert.True(tag == "pt" || !Latin().IsMatch(rest), rest);
        });
    });

    [GeneratedRegex("[A-Za-z]{2,}")]
    private static partial Regex Latin();
}
