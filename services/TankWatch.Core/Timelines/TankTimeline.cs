using System.Collections.Immutable;
using System.Runtime.InteropServices;
using TankWatch.Core.Balance;
using TankWatch.Core.Sites;
using TankWatch.Core.Supply;
using TankWatch.Core.Time;

namespace TankWatch.Core.Timelines;

/// <summary>A moment at which the surface passed a probe.</summary>
/// <param name="Probe">Index from the lowest.</param>
/// <param name="At">UTC.</param>
/// <param name="Rising">It became wet.</param>
[StructLayout(LayoutKind.Auto)]
public readonly record struct Crossing(int Probe, DateTimeOffset At, bool Rising)
{
    private readonly long ticks = At.UtcTicks;

    public DateTimeOffset At { get => new(ticks, TimeSpan.Zero); init => ticks = value.UtcTicks; }
}

/// <summary>What is known of one probe.</summary>
/// <param name="ChangedAt">When it last changed; null if it never did.</param>
/// <param name="Flips">Changes that only a wandering surface or a bad contact explains: at least the third in a row of this probe alone.</param>
/// <param name="LowerMoved">The probe below changed since this one did.</param>
/// <param name="UpperMoved">The probe above changed since this one did.</param>
/// <param name="PassedBy">How many times the surface went by, both neighbours changing in order, and this probe did not.</param>
public sealed record ProbeTimeline(DateTimeOffset? ChangedAt, RecentTimes Flips, bool LowerMoved, bool UpperMoved, int PassedBy)
{
    private readonly PackedTime changedAt = ChangedAt;

    public DateTimeOffset? ChangedAt { get => changedAt; init => changedAt = value; }

    public static readonly ProbeTimeline Unseen = new(null, RecentTimes.None, false, false, 0);
}

/// <summary>How long fills from one probe to the next take, and whether the last ones were slow.</summary>
/// <param name="Normal">Seconds of fills that were not slow, newest last.</param>
/// <param name="LastSeconds">Of the last fill; null before the first.</param>
/// <param name="LastRatio">Last fill against the normal of its time; null until there is a normal.</param>
/// <param name="SlowStreak">How many slow fills stand in a row.</param>
/// <param name="SlowSince">When the first of the streak began.</param>
public sealed record PairFills(Sample Normal, double? LastSeconds, double? LastRatio, int SlowStreak, DateTimeOffset? SlowSince)
{
    public const int EnoughForNormal = 8;
    public const double SlowRatio = 1.35; // Alarms at 1.3 to 1.5 of the own median for 3 fills (common practice, no source).
    private const int Kept = 20;

    private readonly PackedTime slowSince = SlowSince;

    public DateTimeOffset? SlowSince { get => slowSince; init => slowSince = value; }

    public static readonly PairFills None = new(Sample.Empty, null, null, 0, null);

    public PairFills Add(double seconds, DateTimeOffset began)
    {
        double? ratio = Normal.Count >= EnoughForNormal ? seconds / Normal.Median!.Value : null;

        // A slow fill teaches nothing about what is normal; else a failing pump would become its own excuse.
        return ratio > SlowRatio
            ? this with { LastSeconds = seconds, LastRatio = ratio, SlowStreak = SlowStreak + 1, SlowSince = SlowSince ?? began }
            : new(Normal.Add(seconds, Kept), seconds, ratio, 0, null);
    }
}

/// <summary>What is known of a tank's water, from its probes alone.</summary>
public sealed record TankTimeline
{
    private readonly PackedTime seenAt, emptySince, fullSince, disorderSince, commonLostSince;

    /// <summary>Bit i set when probe i is wet; null before the first word, and while the common electrode is lost.</summary>
    public int? Wet { get; init; }

    /// <summary>When the probes were last heard of.</summary>
    public DateTimeOffset? SeenAt { get => seenAt; init => seenAt = value; }

    /// <summary>Since when the lowest probe is dry; null while it is wet or unknown.</summary>
    public DateTimeOffset? EmptySince { get => emptySince; init => emptySince = value; }

    /// <summary>Since when the highest probe is wet; null while it is dry or unknown.</summary>
    public DateTimeOffset? FullSince { get => fullSince; init => fullSince = value; }

    /// <summary>Since when a probe is wet above a dry one.</summary>
    public DateTimeOffset? DisorderSince { get => disorderSince; init => disorderSince = value; }

    /// <summary>When all probes went dry at once, faster than any draw.</summary>
    public DateTimeOffset? CommonLostSince { get => commonLostSince; init => commonLostSince = value; }

    /// <summary>It asks for water: from lowest dry until highest wet.</summary>
    public bool Calling { get; init; }

    /// <summary>The probe that changed last, and how many times in a row it alone did.</summary>
    public int LastProbe { get; init; } = -1;

    public int LastProbeStreak { get; init; }

    /// <summary>The newest crossing in order, either way.</summary>
    public Crossing? Last { get; init; }

    /// <summary>The newest rise of the present fill, one pump running since and no other tank on its riser taking water; null otherwise.</summary>
    public Crossing? Filling { get; init; }

    /// <summary>The newest fall since all its pumps rest; null otherwise.</summary>
    public Crossing? Draining { get; init; }

    /// <summary>Draw with the pumps at rest, between the last two falls, litres per minute; null before the first.</summary>
    public double? Draw { get; init; }

    public ImmutableArray<ProbeTimeline> Probes { get; init; } = [];

    /// <summary>Fills from probe i to i + 1.</summary>
    public ImmutableArray<PairFills> Fills { get; init; } = [];

    /// <summary>What its crossings tell of use, deliveries and leaks; null before the first crossing, and for a sump.</summary>
    public TankBalance? Balance { get; init; }

    /// <summary>When its supply fills it; null before its first word, for an overhead tank, and with fewer than two probes.</summary>
    internal SumpSupply? Supply { get; init; }

    public static TankTimeline Unseen(Tank tank) => new()
    {
        Probes = [.. tank.Probes.Select(_ => ProbeTimeline.Unseen)],
        Fills = [.. tank.Probes.Skip(1).Select(_ => PairFills.None)],
    };

    public bool IsWet(int probe) => Wet is { } wet && (wet & (1 << probe)) != 0;

    /// <summary>What the probes allow the tank to hold, litres.</summary>
    public (double Low, double High)? Bounds(Tank tank) => Wet is { } wet ? tank.Bounds(wet) : null;
}
