using System.Collections.Immutable;
using System.Runtime.InteropServices;

namespace TankWatch.Core.Supply;

/// <summary>One local day of a sump in 16 bytes: how high its surface stood in each hour, in which hours it rose, and whether it ran low.</summary>
/// <param name="Early">Four bits for each of the hours 0 to 15: 0 unknown, else one more than the probes that were wet at most.</param>
/// <param name="Late">The same for the hours 16 to 23, then a bit for each hour in which a probe became wet, then one for a day that ran low.</param>
internal readonly record struct DayReach(long Early, long Late)
{
    public const int Hours = 24;
    private const int Bits = 4, InOne = 16, RosesAt = (Hours - InOne) * Bits, LowAt = RosesAt + Hours;
    private const long Mask = (1 << Bits) - 1;

    public bool RanLow => (Late & (1L << LowAt)) != 0;

    public bool RoseEver => (Late & (((1L << Hours) - 1) << RosesAt)) != 0;

    public bool Rose(int hour) => (Late & (1L << (RosesAt + hour))) != 0;

    public bool IsKnown(int hour) => Of(hour) > 0;

    /// <summary>Whether the surface stood at this probe or above for a while of the hour.</summary>
    public bool Reached(int hour, int probe) => Of(hour) > probe + 1;

    public DayReach Reaching(int hour, int wet) => wet + 1 <= Of(hour) ? this
        : hour < InOne ? this with { Early = (Early & ~(Mask << (hour * Bits))) | ((wet + 1L) << (hour * Bits)) }
        : this with { Late = (Late & ~(Mask << ((hour - InOne) * Bits))) | ((wet + 1L) << ((hour - InOne) * Bits)) };

    public DayReach Rising(int hour) => this with { Late = Late | (1L << (RosesAt + hour)) };

    public DayReach RunningLow() => this with { Late = Late | (1L << LowAt) };

    private long Of(int hour) => (hour < InOne ? Early >> (hour * Bits) : Late >> ((hour - InOne) * Bits)) & Mask;
}

/// <summary>Where the water of a sump was last known to stand, and what pumps drew since.</summary>
/// <param name="Probe">Index of the probe passed last; -1 when it is not known when any was.</param>
/// <param name="At">Ticks, UTC.</param>
/// <param name="Drawn">Litres of runs that ended since; null when a run's delivery is not known.</param>
/// <param name="Before">Litres drawn before <paramref name="At"/> since the water sank below the probe that the supply brings it to; null while unknown.</param>
[StructLayout(LayoutKind.Auto)]
internal readonly record struct SumpAnchor(int Probe, long At, double? Drawn, double? Before)
{
    public static readonly SumpAnchor None = new(-1, 0, null, null);
}

/// <summary>
/// When the public supply fills a sump, learnt from the days of the last weeks: under 1 KB. Days on which the sump ran low teach nothing of what is usual;
/// else a failing supply would become its own excuse.
/// </summary>
internal sealed record SumpSupply
{
    public const int DaysKept = 21;

    /// <summary>Fewer days tell no habit.</summary>
    public const int EnoughDays = 10;

    /// <summary>A probe is expected wet at some time within so many hours.</summary>
    public const int WindowHours = 3;

    // One day in so many may do without, and an hour counts as one of supply when the water rises in it on one day of so many.
    private const int MissesOneIn = 20, RisesOneIn = 5;
    private const int HoursOfADay = 22; // An hour is missing when clocks go forward.

    /// <summary>The local day in progress, counted in days of the calendar.</summary>
    public long Day { get; init; }

    public DayReach Today { get; init; }

    /// <summary>Days that teach, newest last.</summary>
    public ImmutableArray<DayReach> Past { get; init; } = [];

    /// <summary>The highest probe that the supply brings the water to on nearly all days; -1 while that is not known.</summary>
    public int Probe { get; init; } = -1;

    /// <summary>Bit by bit the hours by whose end it has, within <see cref="WindowHours"/>.</summary>
    public int Expected { get; init; }

    /// <summary>Bit by bit the hours in which water comes now and then.</summary>
    public int Comes { get; init; }

    public SumpAnchor Anchor { get; init; } = SumpAnchor.None;

    public bool HasLearnt => Past.Length >= EnoughDays;

    /// <summary>Closes the day in progress and begins another.</summary>
    public SumpSupply Turn(long day, int probes)
    {
        var known = 0;
        for (var hour = 0; hour < DayReach.Hours; hour++)
        {
            known += Today.IsKnown(hour) ? 1 : 0;
        }

        if (known < HoursOfADay || Today.RanLow)
        {
            return this with { Day = day, Today = default };
        }

        var past = Past.Length < DaysKept ? Past.Add(Today) : Past.RemoveAt(0).Add(Today);
        var next = (this with { Day = day, Today = default, Past = past, Probe = -1, Expected = 0, Comes = HoursOfSupply(past) }).Learnt(probes);
        return next.Probe == Probe ? next : next with { Anchor = Anchor with { Before = null } };
    }

    private SumpSupply Learnt(int probes)
    {
        // A surface that hardly ever moves past a probe teaches nothing of when water comes.
        if (!HasLearnt || Past.Count(static day => day.RoseEver) * 2 < Past.Length)
        {
            return this;
        }

        for (var probe = probes - 1; probe > 0; probe--)
        {
            var expected = 0;
            for (var hour = 0; hour < DayReach.Hours; hour++)
            {
                expected |= IsKept(probe, hour - WindowHours + 1, hour) ? 1 << hour : 0;
            }

            if (expected != 0)
            {
                return this with { Probe = probe, Expected = expected };
            }
        }

        return this;
    }

    /// <summary>Whether on nearly all days the water stood at a probe at some time from one hour to another.</summary>
    /// <param name="probe">Its index.</param>
    /// <param name="from">First hour; a negative one stands for one before midnight.</param>
    /// <param name="to">Last hour, at least <paramref name="from"/>.</param>
    public bool IsKept(int probe, int from, int to)
    {
        var missed = 0;
        foreach (var day in Past)
        {
            var reached = false;
            for (var hour = from; hour <= to && !reached; hour++)
            {
                reached = day.Reached((hour + DayReach.Hours) % DayReach.Hours, probe);
            }

            missed += reached ? 0 : 1;
        }

        return missed <= Past.Length / MissesOneIn;
    }

    private static int HoursOfSupply(ImmutableArray<DayReach> past)
    {
        var comes = 0;
        for (var hour = 0; hour < DayReach.Hours; hour++)
        {
            var rises = 0;
            foreach (var day in past)
            {
                rises += day.Rose(hour) ? 1 : 0;
            }

            comes |= rises * RisesOneIn >= past.Length ? 1 << hour : 0;
        }

        return comes;
    }
}
