using System.Collections.Immutable;
using TankWatch.Core.Alerts;
using TankWatch.Core.Texts;
using TankWatch.Core.Time;
using TankWatch.Service.Api;
using TankWatch.Service.Sites;

namespace TankWatch.Service.Pages.Building;

/// <summary>The sentence that a building's page begins with.</summary>
/// <param name="NeedsHand">Somebody has to go and see.</param>
/// <param name="Parts">With the building's name in it.</param>
public sealed record OpeningView(bool NeedsHand, ImmutableArray<Said> Parts)
{
    internal static OpeningView Of(SiteView site, DateTimeOffset now)
    {
        var silent = site.Units.All(unit => unit.HeardAt is null || unit.Silent);
        var heard = site.Units.Max(unit => unit.HeardAt);
        var since = heard is { } last ? LocalClock.Near(last, now, site.Plan.TimeZone) : null;
        Said name = Said.Name(site.Plan.Name);
        if (WorstFirst.Order(site.OpenAlerts.Where(WorstFirst.Presses)).ToList() is [var worst, .. var others])
        {
            var why = !silent ? WhyOf(worst, others.Count) : since is null ? Phrase.Of("building.why.unheard") : Phrase.Of("building.why.silent", ("at", since));
            return WorstFirst.Waits(worst)
                ? new(true, Said.Of("building.needs", ("name", name), ("hand", Said.Hand), ("why", why)))
                : new(false, Said.Of("building.in-hand", ("name", name), ("why", why)));
        }

        if (site.Units.IsEmpty)
        {
            return new(false, Said.Of("building.no-unit", ("name", name)));
        }

        if (silent)
        {
            return new(false, since is null ? Said.Of("home.one.unheard", ("name", name)) : Said.Of("building.silent", ("name", name), ("at", since)));
        }

        var waiting = site.OpenAlerts.Count(alert => alert.State == AlertState.ReturnedUnacknowledged);
        return new(false, (waiting, site.OpenAlerts.Length) switch
        {
            ( > 0, _) => Said.Of("building.waiting", ("name", name), ("n", waiting)),
            (_, > 0 and var aside) => Said.Of("building.aside", ("name", name), ("n", aside)),
            _ => Said.Of("building.fine", ("name", name)),
        });
    }

    private static Phrase WhyOf(Alert worst, int others)
    {
        var clause = Terms.Clause(worst.Finding.Kind);
        return others == 0 ? clause : Phrase.Of("building.why.more", ("why", clause), ("n", others));
    }
}
