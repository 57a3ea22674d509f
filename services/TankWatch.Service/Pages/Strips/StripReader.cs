using System.Collections.Immutable;
using System.Runtime.CompilerServices;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;
using TankWatch.Service.Api;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Pages.Strips;

/// <summary>Reads from the store what a strip shows.</summary>
internal sealed class StripReader(SeriesStore series, LedgerStore ledger)
{
    private static readonly TimeSpan SmallStep = TimeSpan.FromMinutes(10);

    /// <summary>In a list a quarter of an hour is all that can be seen, and a chattering probe must not fill the page.</summary>
    private const int SmallMarks = 96;

    /// <summary>By state: when anything is said or time moves a finding, the state is another one, and the old strip goes with it.</summary>
    private readonly ConditionalWeakTable<SiteState, Strip> days = [];

    /// <summary>The last 24 hours, to the next ten minutes.</summary>
    public Strip ReadDay(SiteView site)
    {
        var to = new DateTimeOffset((site.AsOf.UtcTicks / SmallStep.Ticks + 1) * SmallStep.Ticks, TimeSpan.Zero);
        var window = new StripWindow(to.AddDays(-1), to);
        if (days.TryGetValue(site.State, out var known) && known.Window == window)
        {
            return known;
        }

        var strip = Read(site, window, SmallMarks);
        days.AddOrUpdate(site.State, strip);
        return strip;
    }

    public Strip Read(SiteView site, StripWindow window, int most = StripFold.MostMarks)
    {
        var plan = site.Plan;
        var end = site.AsOf < window.To ? site.AsOf : window.To;
        var from = window.From - SiteTimeline.WordHolds; // An older word does not hold any more.
        var known = series.ReadWords(plan, from, end).Select(words => StripFold.Known(words, end)).ToImmutableArray();
        var levels = series.ReadLevels(plan, from, end).ToLookup(level => level.Tank);
        var runs = series.ListRuns(plan.Id, window.From, window.To).ToLookup(run => run.Pump);
        var alerts = ledger.ListAlertsDuring(plan.Id, window.From, end).Where(alert => alert.Correction != AlertCorrection.Withdrawn).ToList();
        return new(
            window,
            [.. plan.Tanks.Where(tank => !tank.Probes.IsEmpty).Select(tank =>
                Lane(tank, [.. levels[tank.Index]], Without(ByUnit(unit => unit.Tanks, tank.Index), LostCommon(alerts, tank)), window, end, most))],
            [.. plan.Pumps.Select(pump => Lane(pump, site, runs[pump.Id], ByUnit(unit => unit.Pumps, pump.Index), window, end, most))],
            StripFold.InRows(alerts.Select(alert => Mark(alert, end))),
            StripFold.Supply(plan, window));

        ImmutableArray<Stretch> ByUnit(Func<FieldUnit, ImmutableArray<int>> reported, int device) =>
            plan.Units.FirstOrDefault(unit => reported(unit).Contains(device)) is { } unit ? known[unit.Index] : [];
    }

    private static WaterLane Lane(Tank tank, IReadOnlyList<StoredLevel> levels, ImmutableArray<Stretch> known, StripWindow window, DateTimeOffset end, int most)
    {
        var water = StripFold.Water(tank, levels, known, window, most);
        return new(tank, water, StripFold.Gaps([.. water.Select(stretch => new Stretch(stretch.From, stretch.To))], window, end));
    }

    private static PumpLane Lane(Pump pump, SiteView site, IEnumerable<PumpRun> ended, ImmutableArray<Stretch> known, StripWindow window, DateTimeOffset end, int most)
    {
        var runs = ended.Where(run => run.StoppedAt is not null)
            .Select(run => new RunMark(run.StartedAt, run.StoppedAt!.Value, 1, run.Manual, false, run.StoppedAt.Value - run.StartedAt, run.Delivered)).ToList();
        var trips = ended.Where(run => IsTrip(run.StopCause) && run.StoppedAt is not null).Select(run => new TripMark(run.StoppedAt!.Value, run.StopCause!.Value));
        if (site.State.Timeline.Pumps[pump.Index] is { Running: true, Run: { } now } && now.StartedAt < end)
        {
            var until = site.State.Timeline.PumpKnownUntil(site.Plan, pump.Index) is { } holds && holds < end ? holds : end;
            runs.Add(new(now.StartedAt, until, 1, now.Manual, true, until - now.StartedAt, null));
        }

        return new(pump, StripFold.Joined(runs, window, most), StripFold.Joined(trips, window), StripFold.Gaps(known, window, end));
    }

    private static bool IsTrip(PumpCause? cause) =>
        cause is PumpCause.DryRun or PumpCause.UnderVoltage or PumpCause.OverVoltage or PumpCause.Overload or PumpCause.Power;

    private static AlertMark Mark(Alert alert, DateTimeOffset end) => new(
        alert.Id, alert.Finding.Since, alert.Finding.ClearedAt ?? end, alert.Finding.IsOpen, WorstFirst.Waits(alert), 0, alert.Finding.Text.Summary);

    /// <summary>While the common electrode was lost, dry probes said nothing of the water.</summary>
    private static List<Stretch> LostCommon(IEnumerable<Alert> alerts, Tank tank) =>
    [
        .. alerts.Select(alert => alert.Finding)
            .Where(finding => finding.Kind == FindingKind.ProbeFault && finding.Device == tank.Id && finding.Causes.Any(cause => cause.Name == "lost-common"))
            .Select(finding => new Stretch(finding.Since, finding.ClearedAt ?? DateTimeOffset.MaxValue)),
    ];

    private static ImmutableArray<Stretch> Without(ImmutableArray<Stretch> known, List<Stretch> lost) => lost.Count == 0 ? known :
    [
        .. known.SelectMany(stretch => StripFold.Gaps([.. lost], new(stretch.From, stretch.To), stretch.To)),
    ];
}
