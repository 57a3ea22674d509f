using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Service.Pages.Estate;
using TankWatch.Service.Sites;
using Xunit;
using static TankWatch.Service.Tests.Pages.Buildings;

namespace TankWatch.Service.Tests.Pages;

public sealed class EstateViewTests
{
    [Fact]
    public void What_nobody_knows_of_stands_first_then_the_worst_then_the_one_that_waits_longest()
    {
        SiteView[] sites =
        [
            Building("a-well", "Well"),
            Building("b-aside", "Aside", Alert(FindingKind.Leak, Priority.Critical, state: AlertState.Shelved)),
            Building("c-over", "Over", Alert(FindingKind.Leak, Priority.Critical, state: AlertState.ReturnedUnacknowledged)),
            Building("d-low", "Low", Alert(FindingKind.HeavyUse, Priority.Low, hoursAgo: 90)),
            Building("e-new", "New", Alert(FindingKind.Leak, Priority.High, hoursAgo: 1)),
            Building("f-old", "Old", Alert(FindingKind.HeavyUse, Priority.Low, hoursAgo: 300), Alert(FindingKind.Leak, Priority.High, hoursAgo: 2)),
            Building("g-held", "Held", Alert(FindingKind.RunningOut, Priority.Critical, hoursAgo: 0.1, state: AlertState.Acknowledged)),
        ];
        Assert.Equal(["f-old", "e-new", "d-low", "g-held", "a-well", "b-aside", "c-over"], Estate(sites).Ids());
    }

    [Fact]
    public void Two_alerts_are_spelled_out_and_the_others_counted()
    {
        var building = Estate(
        [
            Building(
                "b", "B", Alert(FindingKind.HeavyUse, Priority.Low), Alert(FindingKind.Leak, Priority.High, 2), Alert(FindingKind.RunningOut, Priority.Critical),
                Alert(FindingKind.ProbeFault, state: AlertState.OutOfService), Alert(FindingKind.PowerFailure, state: AlertState.ReturnedUnacknowledged)),
        ]).Buildings[0];
        Assert.Equal(["It is running-out.", "It is leak."], building.Alerts.Select(alert => alert.Summary));
        Assert.Equal(("1 more", "1 alert that is over, 1 put aside"), (building.Further, building.PutAside));
        Assert.Equal(Now.AddHours(-2), building.Alerts[1].SinceAt);
    }

    [Fact]
    public void The_form_is_for_the_worst_that_nobody_has_acknowledged()
    {
        var open = Alert(FindingKind.Leak, Priority.Medium);
        var building = Estate([Building("b", "B", Alert(FindingKind.RunningOut, Priority.Critical, state: AlertState.Acknowledged), open)]).Buildings[0];
        Assert.Equal((open.Id, null), (building.ToAcknowledge, building.Alerts[0].AcknowledgedBy));
        Assert.Equal(("Rosa", Now.AddMinutes(-20)), (building.Alerts[1].AcknowledgedBy, building.Alerts[1].AcknowledgedAt));

        // What nobody has acknowledged goes before worse things that somebody has.
        var held = (Core.Alerts.Alert[])[Alert(FindingKind.RunningOut, Priority.Critical, state: AlertState.Acknowledged), Alert(FindingKind.NoStart, state: AlertState.Acknowledged), open];
        building = Estate([Building("b", "B", held)]).Buildings[0];
        Assert.Equal([open.Id, held[0].Id], building.Alerts.Select(alert => alert.Id));
        Assert.Equal("1 more", building.Further);
        Assert.Null(Estate([Building("c", "C", Alert(FindingKind.Leak, state: AlertState.Acknowledged))]).Buildings[0].ToAcknowledge);
    }

    [Fact]
    public void A_building_that_was_never_heard_of_has_neither_water_nor_pump()
    {
        var building = Estate([Unheard("new", "New")]).Buildings[0];
        Assert.Equal((null, null, null), (building.Water, building.Pumps, building.HeardAt));
    }

    [Theory]
    [InlineData(74, false)]
    [InlineData(76, true)]
    public void A_last_word_older_than_units_promise_says_how_things_were(int minutes, bool isOld)
    {
        var site = Building("b", "B");
        site = site with { Units = [site.Units[0] with { HeardAt = Now.AddMinutes(-minutes) }] };
        Assert.Equal(isOld, Estate([site]).Buildings[0].IsOld);
    }

    [Fact]
    public void Choices_are_the_kinds_that_press_now_with_how_many_buildings_each_concerns()
    {
        SiteView[] sites =
        [
            Building("a", "A Row", Alert(FindingKind.Leak), Alert(FindingKind.Leak), Alert(FindingKind.PowerFailure), Alert(FindingKind.ProbeFault, state: AlertState.Shelved)),
            Building("b", "B Row", Alert(FindingKind.Leak, state: AlertState.Acknowledged)),
            Building("c", "C House", Alert(FindingKind.NoStart, state: AlertState.Shelved)),
            Building("d", "D House", Alert(FindingKind.Leak)),
        ];
        Assert.Equal([("All", 4), ("Something wrong", 3), ("Leak", 3), ("Power cut", 1)], Counts(Estate(sites)));
        Assert.Equal([("All", 2), ("Something wrong", 2), ("Leak", 2), ("Power cut", 1)], Counts(Estate(sites, "row")));
        foreach (var choice in Estate(sites, "row").Choices)
        {
            var query = System.Web.HttpUtility.ParseQueryString(choice.Address[1..]);
            Assert.Equal(choice.Count, Estate(sites, query["q"], query["wrong"]).Buildings.Count);
        }

        // What is asked for stays a choice when it is over.
        Assert.Contains(("Pump does not start", 0), Counts(Estate(sites, wrong: "no-start")));
        Assert.Empty(Estate([sites[2]]).Choices);

        static IEnumerable<(string, int)> Counts(EstateView estate) => estate.Choices.Select(choice => (choice.Name, choice.Count));
    }

    [Fact]
    public void Pages_of_25_follow_each_other_to_the_end()
    {
        var sites = Many(60);
        var first = Estate(sites);
        var second = Estate(sites, after: first.After());
        var third = Estate(sites, after: second.After());
        Assert.Equal(("1 to 25 of 60", "26 to 50 of 60", "51 to 60 of 60"), (first.Range, second.Range, third.Range));
        Assert.Equal((25, 10, null), (first.NextCount, second.NextCount, third.Next));
        Assert.Equal(sites.Select(site => site.Plan.Id.Value), [.. first.Ids(), .. second.Ids(), .. third.Ids()]);
        Assert.Equal("", Estate(Many(25)).Range);
    }

    [Fact]
    public void A_building_that_goes_or_gets_worse_between_two_pages_moves_no_other()
    {
        var sites = Many(30);
        var after = Estate(sites).After();
        Assert.Equal(["b-025", "b-026", "b-027", "b-028", "b-029"], Estate(sites, after: after).Ids());

        // The very one that the page ended with goes; another before it does; one that was to come is seen no more here, for it leads now.
        sites.RemoveAt(24);
        sites.RemoveAt(3);
        var worse = sites.FindIndex(site => site.Plan.Id.Value == "b-027");
        sites[worse] = Building("b-027", "Worse", Alert(FindingKind.Leak));
        var second = Estate(sites, after: after);
        Assert.Equal(["b-025", "b-026", "b-028", "b-029"], second.Ids());
        Assert.Equal("25 to 28 of 28", second.Range);
        Assert.Equal("b-027", Estate(sites).Ids().First());
    }

    [Fact]
    public void Pages_go_on_among_buildings_that_need_a_hand()
    {
        var sites = Enumerable.Range(10, 40).Select(i => Building($"b-{i}", $"House {i}", Alert(FindingKind.Leak, hoursAgo: i))).ToList();
        var first = Estate(sites, wrong: "leak");
        Assert.Equal("b-49", first.Ids().First());
        sites.RemoveAll(site => site.Plan.Id.Value == "b-25"); // The last of the first page.
        Assert.Equal(Enumerable.Range(10, 15).Reverse().Select(i => $"b-{i}"), Estate(sites, wrong: "leak", after: first.After()).Ids());
    }

    [Fact]
    public void A_page_after_the_end_says_so()
    {
        var sites = Many(30);
        var after = Estate(sites).After();
        Assert.Equal("Nothing stands after this; the list has 5 buildings.", Estate([.. sites.Take(5)], after: after).Range);
    }

    [Theory]
    [InlineData("b-024")]
    [InlineData("9~1~b")]
    [InlineData("1~-1~b")]
    [InlineData("1~+1~b")]
    [InlineData("1~9999999999999999999~b")]
    [InlineData("1~3155378976000000000~b")]
    [InlineData("1~1~")]
    [InlineData("1~1~b~c")]
    [InlineData("1~1~<script>")]
    public void An_after_that_was_never_given_is_a_fault_said_in_place(string after)
    {
        var estate = Estate(Many(3), after: after);
        Assert.Equal((true, "This part of the list cannot be found."), (estate.IsFault, estate.Opening()));
        Assert.Empty(estate.Buildings);
    }

    [Fact]
    public void What_cannot_be_asked_is_said_in_place()
    {
        Assert.Equal("The list cannot be narrowed to “rust”.", Estate(Many(3), wrong: "rust").Opening());
        Assert.Equal("A search has at most 100 characters.", Estate(Many(3), new string('x', 101)).Opening());
        Assert.False(Estate(Many(3), new string('x', 100)).IsFault);
    }

    [Fact]
    public void An_address_carries_search_choice_and_place_whatever_they_hold()
    {
        var typed = "a&wrong=leak#x \u202e \"'<";
        var sites = Enumerable.Range(0, 30).Select(i => Building($"b-{i}", typed, Alert(FindingKind.Leak))).ToList();
        var query = System.Web.HttpUtility.ParseQueryString(Estate(sites, typed, "any").Next![1..]);
        Assert.Equal((typed, "any"), (query["q"], query["wrong"]));
        Assert.Equal(5, Estate(sites, query["q"], query["wrong"], query["after"]).Buildings.Count);
    }
}
