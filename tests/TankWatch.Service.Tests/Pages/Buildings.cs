using System.Globalization;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;
using TankWatch.Service.Pages.Estate;
using TankWatch.Service.Sites;
using TankWatch.Service.Tests.Sites;

namespace TankWatch.Service.Tests.Pages;

/// <summary>Buildings as the keeper would publish them, without a store or a clock.</summary>
internal static class Buildings
{
    private static int alerts;

    /// <summary>A Monday, in winter time of the buildings.</summary>
    public static DateTimeOffset Now { get; } = new(2026, 3, 2, 12, 0, 0, TimeSpan.Zero);

    /// <summary>Heard of a minute ago, with nothing wrong but what is given.</summary>
    public static SiteView Building(string id, string name, params Alert[] alerts) => Building(SampleSite.Plan(SampleSite.Json(id, "fu-" + id)) with { Name = name }, alerts);

    public static SiteView Building(SitePlan plan, params Alert[] alerts)
    {
        var (start, heard, unit) = (SiteState.Start(plan), Now.AddMinutes(-1), plan.Units[0].Id);
        var spoke = new UnitTimeline(new Stamp(unit, heard, heard, heard, 1, 1), null, false);
        return new(
            plan, start with { Timeline = start.Timeline with { Units = [spoke] } }, [.. alerts],
            [new(unit, plan.Id, heard, heard, true, null, null, null, null, 0, null, 1, 0, 0, false)], Now);
    }

    /// <summary>Its unit has never said a word.</summary>
    public static SiteView Unheard(string id, string name)
    {
        var heard = Building(id, name);
        return heard with { State = SiteState.Start(heard.Plan), Units = [heard.Units[0] with { HeardAt = null }] };
    }

    public static Alert Alert(FindingKind kind, Priority priority = Priority.High, double hoursAgo = 1, AlertState state = AlertState.Unacknowledged)
    {
        var since = Now.AddHours(-hoursAgo);
        var finding = new Finding(kind, new("p1"), priority, since, since, null, null, [], new(Core.Texts.Phrase.Literal($"It is {FindingNames.Of(kind)}."), [], [], []));
        var acknowledged = state == AlertState.Acknowledged;
        return new(
            Interlocked.Increment(ref alerts).ToString("000000", CultureInfo.InvariantCulture), new("any"), finding, state, since, since,
            acknowledged ? Now.AddMinutes(-20) : null, acknowledged ? "Rosa" : null, null, null, since, [], null, 1);
    }

    public static EstateView Estate(IReadOnlyList<SiteView> sites, string? q = null, string? wrong = null, string? after = null) =>
        EstateView.Of(sites, EstateQuery.Read(q, wrong, after), Now);

    public static string Opening(this EstateView estate) => string.Concat(estate.Opening.Select(part => part.Text));

    public static IEnumerable<string> Ids(this EstateView estate) => estate.Buildings.Select(building => building.Id);

    /// <summary>What the link to the next page says of where it begins.</summary>
    public static string After(this EstateView estate) => Uri.UnescapeDataString(estate.Next!.Split("after=")[1]);

    /// <summary>Buildings of no distinction: b-000, b-001, and so on.</summary>
    public static List<SiteView> Many(int count) =>
        [.. Enumerable.Range(0, count).Select(i => Building($"b-{i.ToString("000", CultureInfo.InvariantCulture)}", $"House {i}"))];
}
