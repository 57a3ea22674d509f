using TankWatch.Core.Alerts;
using TankWatch.Service.Api;
using TankWatch.Service.Sites;

namespace TankWatch.Service.Pages.Building;

/// <summary>The sentence that a building's page begins with: the name stands between the two parts.</summary>
/// <param name="NeedsHand">The name, "needs a hand", and <paramref name="Rest"/>.</param>
/// <param name="Lead">Before the name.</param>
/// <param name="Rest">After the name, with its stop.</param>
public sealed record OpeningView(bool NeedsHand, string Lead, string Rest)
{
    internal static OpeningView Of(SiteView site, DateTimeOffset now)
    {
        var silent = site.Units.All(unit => unit.HeardAt is null || unit.Silent);
        var heard = site.Units.Max(unit => unit.HeardAt);
        var pressing = WorstFirst.Order(site.OpenAlerts.Where(WorstFirst.Presses)).ToList();
        if (pressing is [var worst, .. var others])
        {
            var what = silent
                ? heard is { } last ? $"nothing is known of it since {Words.Near(last, now, site.Plan.TimeZone)}" : "nothing has ever been heard of it"
                : KindWords.Clause(worst.Finding.Kind) + (others.Count == 0 ? "" : $", and {Amounts.Count(others.Count, "other thing", "other things")}");
            return WorstFirst.Waits(worst) ? new(true, "", $": {what}.") : new(false, "", $" is in hand: {what}.");
        }

        if (site.Units.IsEmpty)
        {
            return new(false, "Nothing can be known of ", ": its site file names no unit.");
        }

        if (silent)
        {
            return heard is { } last
                ? new(false, "Nothing is known of ", $" since {Words.Near(last, now, site.Plan.TimeZone)}.") : new(false, "Nothing has been heard of ", " yet.");
        }

        var waiting = site.OpenAlerts.Count(alert => alert.State == AlertState.ReturnedUnacknowledged);
        return (waiting, site.OpenAlerts.Length) switch
        {
            ( > 0, _) => new(false, "Nothing is known to be wrong at ", $" now; {Amounts.Count(waiting, "alert that is over waits", "alerts that are over wait")} to be acknowledged."),
            (_, > 0 and var aside) => new(false, "Nothing presses at ", $": {Amounts.Count(aside, "alert is", "alerts are")} put aside."),
            _ => new(false, "Nothing is known to be wrong at ", "."),
        };
    }
}
