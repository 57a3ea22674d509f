using System.Collections.Immutable;
using System.Runtime.InteropServices;
using TankWatch.Core.Findings;

namespace TankWatch.Core.Balance;

/// <summary>A passage as it stood against what was believed: the evidence a person can check.</summary>
/// <param name="Start">Ticks, UTC.</param>
/// <param name="End">Ticks, UTC.</param>
/// <param name="From">Index of the probe passed first.</param>
/// <param name="To">Index of the probe passed last.</param>
/// <param name="Filling">A pump ran for most of it.</param>
/// <param name="Gain">Litres seen.</param>
/// <param name="Expected">Litres expected.</param>
/// <param name="Spread">Standard deviation of seen less expected.</param>
internal readonly record struct Witness(long Start, long End, byte From, byte To, bool Filling, float Gain, float Expected, float Spread);

/// <summary>A change that was found and is part of what is believed from then on.</summary>
/// <param name="Change">Which; of outflows the most probable.</param>
/// <param name="Since">Estimated onset, UTC.</param>
/// <param name="At">When it was found, UTC.</param>
/// <param name="Size">As <see cref="Explanation.Size"/>.</param>
/// <param name="Spread">Standard deviation of the size.</param>
/// <param name="Causes">What it may be, most probable first.</param>
/// <param name="Before">Of a change of use the level before it, relative; else 0.</param>
internal sealed record Found(
    Change Change, DateTimeOffset Since, DateTimeOffset At, double Size, double Spread, ImmutableArray<WeighedCause> Causes, double Before);

/// <summary>Where the water of a tank was last known to stand, and what flowed in since.</summary>
/// <param name="Probe">Index of the probe passed last; -1 when it is not known when any was.</param>
/// <param name="Falling">The surface sank through it.</param>
/// <param name="At">Ticks, UTC.</param>
/// <param name="On">Hours of inflow from then to <paramref name="FlowingSince"/>.</param>
/// <param name="Run">Hours of inflow since the pump of each way in last started.</param>
/// <param name="Flowing">Ways in that run, bit by bit.</param>
/// <param name="FlowingSince">Ticks, UTC: since when they do.</param>
/// <param name="DrySince">Ticks, UTC: since when the tank is below its lowest probe with no pump running; 0 when it is not.</param>
/// <param name="DryHours">Hours so before that, since the probe was passed.</param>
/// <param name="LowVoltage">A pump ran at low voltage since.</param>
[StructLayout(LayoutKind.Auto)]
internal readonly record struct Anchor(
    int Probe, bool Falling, long At, Inflows On, Inflows Run, int Flowing, long FlowingSince, long DrySince, double DryHours, bool LowVoltage)
{
    /// <summary>Hours for which a way has carried water since that was last counted.</summary>
    public double Still(int way, DateTimeOffset at) => (Flowing & (1 << way)) == 0 || FlowingSince == 0 ? 0
        : Math.Max(0, at.UtcTicks - FlowingSince) / (double)TimeSpan.TicksPerHour;

    public static readonly Anchor None = new(-1, false, 0, default, default, 0, 0, 0, 0, false);
}

/// <summary>
/// What the crossings of one overhead tank tell of its water: use, deliveries, leaks, each with what is known of it. Immutable; up to
/// 15 KB once it has learnt for weeks (a site with several tanks keeps fewer onsets for each).
/// </summary>
public sealed record TankBalance
{
    internal const int WitnessesKept = 24;
    private const double LeastScale = 0.6;

    internal Anchor Anchor { get; init; } = Anchor.None;

    /// <summary>The first passages, until there are enough to start from.</summary>
    internal ImmutableArray<Passage> First { get; init; } = [];

    /// <summary>Null until enough passages were seen.</summary>
    internal BalanceFilter? Filter { get; init; }

    /// <summary>How many passages were learnt from since the beginning or since the last change found.</summary>
    internal int Passages { get; init; }

    /// <summary>How much wilder surprises are than they should be, as a factor on their variance, and how many passages say so.</summary>
    internal double Scale { get; init; } = 1;
    /// <summary>The factor that is put on variances: water that was steady so far need not stay so.</summary>
    internal double Doubt => Math.Max(LeastScale, Scale);

    internal int ScaleWeight { get; init; } = 30;

    internal ImmutableArray<Onset> Onsets { get; init; } = [];
    internal ImmutableArray<Witness> Witnesses { get; init; } = [];

    /// <summary>An outflow that was found and still flows.</summary>
    internal Found? Outflow { get; init; }

    /// <summary>A change of delivery that was found and stands.</summary>
    internal Found? Delivery { get; init; }

    /// <summary>More use, or a new habit, that was found and stands.</summary>
    internal Found? Use { get; init; }

    /// <summary>How probable a new habit lately was, 0 to 1, fading.</summary>
    internal double HabitDoubt { get; init; }

    /// <summary>The delivery usual before anything changed, all ways in, litres per hour; 0 until known.</summary>
    internal double UsualDelivery { get; init; }
}
