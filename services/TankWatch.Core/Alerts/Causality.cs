using System.Collections.Immutable;
using TankWatch.Core.Findings;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Alerts;

/// <summary>An open alert from outside a site that may explain some of the site's: the outage of its area.</summary>
/// <param name="AlertId">Its id.</param>
/// <param name="Kind">What it says.</param>
/// <param name="Priority">What it was told with.</param>
/// <param name="Since">Its onset, UTC.</param>
public sealed record OuterCause(string AlertId, FindingKind Kind, Priority Priority, DateTimeOffset Since);

/// <summary>
/// Which alert explains which: suppression by design (ISA-18.2). A consequence hangs under its cause and is not told by itself. Only what
/// follows from how these installations are built stands here; what is merely likely stays an alert of its own.
/// </summary>
internal static class Causality
{
    /// <summary>Times of onset are not exact, and a unit promises a word only every hour.</summary>
    private static readonly TimeSpan AboutThen = TimeSpan.FromMinutes(5), WithinTheHour = TimeSpan.FromMinutes(70), Ever = TimeSpan.FromDays(365);

    private static readonly ImmutableArray<Link> Links =
    [
        new(FindingKind.AreaOutage, FindingKind.PowerFailure, SameSite, AboutThen),
        new(FindingKind.AreaOutage, FindingKind.UnitSilent, SameSite, WithinTheHour),
        new(FindingKind.AreaOutage, FindingKind.NoStart, SameSite, AboutThen),
        new(FindingKind.PowerFailure, FindingKind.UnitSilent, SameSite, WithinTheHour),
        new(FindingKind.PowerFailure, FindingKind.NoStart, SameSite, AboutThen),
        new(FindingKind.LowSupply, FindingKind.RepeatedDryTrips, SumpOfPump, Ever),
        new(FindingKind.LowSupply, FindingKind.NoStart, SumpOfPump, Ever),
        new(FindingKind.LowSupply, FindingKind.RunningOut, SumpOfTank, Ever),
        new(FindingKind.OverloadTrips, FindingKind.NoStart, SameDevice, Ever),
        new(FindingKind.VoltageTrips, FindingKind.NoStart, SameDevice, Ever),
        new(FindingKind.NoStart, FindingKind.RunningOut, PumpOfTank, Ever),
        new(FindingKind.OverloadTrips, FindingKind.RunningOut, PumpOfTank, Ever),
        new(FindingKind.VoltageTrips, FindingKind.RunningOut, PumpOfTank, Ever),
        new(FindingKind.RepeatedDryTrips, FindingKind.RunningOut, PumpOfTank, Ever),
        new(FindingKind.OverflowRisk, FindingKind.ControlFault, SameDevice, AboutThen),
        new(FindingKind.WeakPump, FindingKind.SlowFill, SameDevice, Ever),
        new(FindingKind.BackDrain, FindingKind.ShortCycling, TankOfPump, Ever),
        new(FindingKind.ProbeFault, FindingKind.ControlFault, TankOfPump, Ever),
        new(FindingKind.Leak, FindingKind.HeavyUse, SameDevice, Ever),
    ];

    /// <summary>How long a fresh alert waits for its cause before it is told: that its whole area is dark shows when the second building is.</summary>
    public static TimeSpan WaitOf(FindingKind kind, SitePlan plan) =>
        kind is FindingKind.UnitSilent or FindingKind.PowerFailure && plan.Area is not null ? TimeSpan.FromMinutes(1) : TimeSpan.Zero;

    /// <summary>How long after its cause is over a consequence may still last before it is an alert of its own: units start, tanks fill.</summary>
    public static TimeSpan GraceOf(FindingKind kind) =>
        kind is FindingKind.UnitSilent or FindingKind.PowerFailure or FindingKind.NoStart ? TimeSpan.FromMinutes(10) : TimeSpan.FromMinutes(30);

    /// <returns>The id of the alert that explains another at present, at the root of the chain; null when none does.</returns>
    public static string? CauseOf(Alert alert, ImmutableArray<Alert> alerts, ImmutableArray<OuterCause> outer, SitePlan plan)
    {
        foreach (var link in Links)
        {
            if (link.Consequence != alert.Finding.Kind)
            {
                continue;
            }

            foreach (var cause in outer)
            {
                // What is worse than the outage itself is the site's own news.
                if (cause.Kind == link.Cause && link.FitsIn(alert.Finding.Since, cause.Since) && alert.Finding.Priority <= cause.Priority)
                {
                    return cause.AlertId;
                }
            }

            foreach (var cause in alerts)
            {
                if (cause.Finding.Kind == link.Cause && Explains(cause) && link.FitsIn(alert.Finding.Since, cause.Finding.Since) && link.Relates(alert.Finding.Device, cause.Finding.Device, plan)
                    && Root(cause) is { } root)
                {
                    return root;
                }
            }
        }

        return null;

        string? Root(Alert cause)
        {
            if (cause.State != AlertState.Suppressed)
            {
                return IsInView(cause) || alert.Finding.Priority <= cause.Finding.Priority ? cause.Id : null;
            }

            var above = cause.CausedBy!;
            if (alerts.FirstOrDefault(a => a.Id == above) is { } root)
            {
                return Root(root); // What may be told under its name is the root's to say, not that of what hangs between.
            }

            return alert.Finding.Priority <= (outer.FirstOrDefault(o => o.AlertId == above)?.Priority ?? cause.Finding.Priority) ? above : null;
        }
    }

    /// <summary>It holds, as far as people are concerned too.</summary>
    private static bool Explains(Alert cause) => cause.Finding.IsOpen && cause.IsOpen;

    /// <summary>People see it, and what it leads to can be told under its name.</summary>
    private static bool IsInView(Alert alert) => alert.State is AlertState.Unacknowledged or AlertState.Acknowledged;

    private static bool SameSite(DeviceId consequence, DeviceId cause, SitePlan plan) => true;

    private static bool SameDevice(DeviceId consequence, DeviceId cause, SitePlan plan) => consequence == cause;

    private static bool SumpOfPump(DeviceId pump, DeviceId sump, SitePlan plan) =>
        plan.FindPump(pump.Value)?.From is { } from && plan.Tanks[from].Id == sump;

    /// <summary>The tank has no pump that draws from elsewhere.</summary>
    private static bool SumpOfTank(DeviceId tank, DeviceId sump, SitePlan plan) => All(PumpsOf(tank, plan), pump => pump.From is { } from && plan.Tanks[from].Id == sump);

    /// <summary>The tank has no other pump.</summary>
    private static bool PumpOfTank(DeviceId tank, DeviceId pump, SitePlan plan) => All(PumpsOf(tank, plan), feeding => feeding.Id == pump);

    private static bool TankOfPump(DeviceId pump, DeviceId tank, SitePlan plan) => plan.FindPump(pump.Value) is { } found
        && ((found.From is { } from && plan.Tanks[from].Id == tank) || found.To.Any(to => plan.Tanks[to].Id == tank));

    private static List<Pump> PumpsOf(DeviceId tank, SitePlan plan) => [.. plan.Pumps.Where(pump => pump.To.Any(to => plan.Tanks[to].Id == tank))];

    private static bool All(List<Pump> pumps, Predicate<Pump> holds) => pumps.Count > 0 && pumps.TrueForAll(holds);

    /// <param name="Cause">Its kind.</param>
    /// <param name="Consequence">Its kind.</param>
    /// <param name="Relates">Whether the consequence's device follows from the cause's, in this order.</param>
    /// <param name="Before">By how much a consequence may seem to begin before its cause.</param>
    private sealed record Link(FindingKind Cause, FindingKind Consequence, Func<DeviceId, DeviceId, SitePlan, bool> Relates, TimeSpan Before)
    {
        public bool FitsIn(DateTimeOffset consequence, DateTimeOffset cause) => consequence >= cause - Before;
    }
}
