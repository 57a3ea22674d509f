using TankWatch.Simulator.Faults;

namespace TankWatch.Simulator.Trials;

/// <summary>Chooses what is done in a trial, its size and its time, so that there is a fortnight before it and after it.</summary>
internal sealed class TrialEvents(Trial trial, SeededStream random)
{
    private const int QuietDays = 14;

    private readonly double _litresPerHour = trial.MeanDemand / 24;
    private readonly string _tank = trial.Plan.Tanks.First(t => t.Role is Core.Sites.TankRole.Overhead).Id.Value;

    public IEnumerable<TrialEvent> Of(TrialSort sort) => sort switch
    {
        TrialSort.Leak => [Leak(ChooseOnset(), random.Chance(0.3) ? FaultKind.OrificeLeak : FaultKind.Leak)],
        TrialSort.GrowingLeak => [Leak(ChooseOnset(), FaultKind.GrowingLeak)],
        TrialSort.WeakPump => [Weak(ChooseOnset())],
        TrialSort.PumpDecline => [Decline()],
        TrialSort.RiserRestriction => [Weak(ChooseOnset(), FaultKind.BlockedRiser, "riser_restriction")],
        TrialSort.BackDrain => [BackDrain(ChooseOnset())],
        TrialSort.SupplyFailure => [SupplyFailure(ChooseDay())],
        TrialSort.ShortCycling => [ShortCycling()],
        TrialSort.ProbeOff => [new("probe_off", true, trial.Options.Start, null, 0.025, "m", _tank, [])],
        TrialSort.Guests => [MoreUse("heavy_use", ChooseDay(), (int)random.Between(2, 9), 1.4, 1.8)],
        TrialSort.HotDays => [MoreUse("hot_days", ChooseDay(), (int)random.Between(7, 22), 1.2, 1.35)],
        TrialSort.WeekendSurge => WeekendSurges(),
        TrialSort.GardenWatering => [Watering()],
        TrialSort.LowVoltage => [LowVoltage()],
        TrialSort.GuestsThenLeak => [MoreUse("heavy_use", 8, (int)random.Between(3, 6), 1.4, 1.8), Leak(ChooseOnset(after: 18))],
        TrialSort.HotDaysThenWeakPump => [MoreUse("hot_days", 9, 8, 1.2, 1.35), Weak(ChooseOnset(after: 20))],
        TrialSort.RepairedLeak => [Leak(trial.Midnight(12).AddMinutes((int)random.Between(0, 1440)), lasts: TimeSpan.FromDays(random.Between(8, 14)))],
        _ => [],
    };

    private int ChooseDay() => (int)random.Between(QuietDays, trial.Days - QuietDays);

    private DateTimeOffset ChooseOnset(int after = QuietDays) =>
        trial.Midnight((int)random.Between(after, Math.Max(after + 1, trial.Days - QuietDays))).AddMinutes((int)random.Between(0, 1440));

    private TrialEvent Leak(DateTimeOffset onset, FaultKind kind = FaultKind.Leak, TimeSpan? lasts = null)
    {
        var end = onset + lasts;
        var growing = kind is FaultKind.GrowingLeak;
        var size = Math.Round(_litresPerHour * (growing ? random.Between(0.1, 0.4) : LogBetween(0.12, 0.9)), 1);
        return new("leak", false, onset, end, size, growing ? "L/h more a week" : "L/h at mid level", _tank, [new Fault(kind, _tank, onset, end, size)]);
    }

    private TrialEvent Weak(DateTimeOffset onset, FaultKind kind = FaultKind.WeakPump, string label = "weak_pump")
    {
        var lost = Math.Round(random.Between(0.1, 0.4), 3);
        return new(label, false, onset, null, lost, "fraction of delivery lost", null, [new Fault(kind, "p1", onset, Size: 1 - lost)]);
    }

    private TrialEvent Decline()
    {
        var onset = trial.Midnight((int)random.Between(7, 15));
        var lost = Math.Round(random.Between(0.02, 0.05), 4);
        return new("pump_decline", false, onset, null, lost, "fraction of delivery lost per week", null, [new Fault(FaultKind.PumpDecline, "p1", onset, Size: lost / 7)]);
    }

    private TrialEvent BackDrain(DateTimeOffset onset)
    {
        var size = Math.Round(_litresPerHour * LogBetween(0.15, 0.9), 1);
        return new("backdrain", false, onset, null, size, "L/h, pump off", null, [new Fault(FaultKind.BackDrain, "p1", onset, Size: size)]);
    }

    /// <summary>Nothing on the first day, then more each day until it is as ever.</summary>
    private TrialEvent SupplyFailure(int day)
    {
        var days = (int)random.Between(2, 5);
        var faults = Enumerable.Range(0, days).Select(i => new Fault(
            FaultKind.SupplyMissed, "sump", trial.Midnight(day + i), trial.Midnight(day + i + 1), i == 0 ? 0 : random.Between(0, 0.5)));
        return new("supply_failure", false, trial.Midnight(day), trial.Midnight(day + days), null, "share of normal supply per day", null, [.. faults]);
    }

    private TrialEvent ShortCycling() => new("short_cycling", false, trial.Options.Start, null, 0.04, "m between low and high probes", null, []);

    private TrialEvent MoreUse(string label, int day, int days, double low, double high)
    {
        var size = Math.Round(random.Between(low, high), 2);
        var (from, to) = (trial.Midnight(day), trial.Midnight(day + days));
        return new(label, true, from, to, size, "demand multiplier", null, [new Fault(FaultKind.HeavyUse, null, from, to, size)]);
    }

    /// <summary>Half as much use again on the two days of one weekend or of two.</summary>
    private IEnumerable<TrialEvent> WeekendSurges()
    {
        var day = ChooseDay();
        while (TimeZoneInfo.ConvertTime(trial.Midnight(day), trial.Plan.TimeZone).DayOfWeek is not DayOfWeek.Saturday)
        {
            day--;
        }

        return Enumerable.Range(0, random.Chance(0.5) ? 1 : 2).Select(i => MoreUse("heavy_use", day + (7 * i), 2, 1.5, 1.5));
    }

    private TrialEvent Watering()
    {
        var onset = trial.Midnight(ChooseDay()).AddMinutes((int)random.Between(0, 300));
        DateTimeOffset? end = random.Chance(0.5) ? onset.AddDays((int)random.Between(5, 20)) : null;
        var size = Math.Round(trial.MeanDemand * random.Between(0.04, 0.15));
        return new("garden_watering", true, onset, end, size, "L a night", null, [new Fault(FaultKind.NightWatering, _tank, onset, end, size)]);
    }

    /// <summary>For some hours of several days, or for days on end.</summary>
    private TrialEvent LowVoltage()
    {
        var day = ChooseDay();
        var volts = Math.Round(random.Between(175, 205));
        var days = (int)random.Between(2, 8);
        var (onset, end) = (trial.Midnight(day), trial.Midnight(day + days));
        if (random.Chance(0.5))
        {
            return new("low_voltage", true, onset, end, volts, "V", null, [new Fault(FaultKind.LowVoltage, null, onset, end, volts)]);
        }

        var (from, hours) = (random.Between(5, 17), random.Between(3, 7));
        var faults = Enumerable.Range(0, days).Select(i => trial.Midnight(day + i).AddHours(from))
            .Select(at => new Fault(FaultKind.LowVoltage, null, at, at.AddHours(hours), volts));
        return new("low_voltage", true, onset, end, volts, "V for some hours a day", null, [.. faults]);
    }

    private double LogBetween(double low, double high) => low * Math.Pow(high / low, random.Unit());
}
