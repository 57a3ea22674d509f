using System.Collections.Immutable;

namespace TankWatch.Core.Balance;

/// <summary>
/// A moment at which something may have changed, and for each change what it would have done to all that was believed since: a bank of
/// matched filters on the surprises of the passages (the generalized likelihood ratio for a jump; Willsky and Jones, 1976; from memory).
/// </summary>
/// <remarks>
/// For a change of size one, a deviation is what is true less what is believed. Each passage shows some of it (the weighted sum over
/// the deviation), and what it taught the filter makes it smaller. The size that fits best is pull over weight, and pull squared over weight
/// twice the gain in log likelihood. Deviations are kept in sixteen bits against their largest, a third of 0.0001: a site has hundreds of
/// them for every moment.
/// </remarks>
internal sealed class Onset
{
    private const int Whole = (int)Changes.FirstOfDelivery;
    private const int FromLevel = BalanceFilter.Slow;

    private readonly int count, index;
    private readonly short[] packed;
    private readonly float[] sums;
    public readonly long Ticks;

    /// <param name="ticks">UTC.</param>
    /// <param name="count">Of unknowns.</param>
    /// <param name="packed">Deviations of several onsets, of this one <see cref="PackedLength"/> from <paramref name="index"/> on.</param>
    /// <param name="sums">Theirs, of this one <see cref="SumsLength"/>.</param>
    /// <param name="index">Which of them: what is renewed together is kept together.</param>
    public Onset(long ticks, int count, short[] packed, float[] sums, int index = 0)
    {
        (Ticks, this.count, this.packed, this.sums, this.index) = (ticks, count, packed, sums, index);
    }

    /// <summary>Deviations one after another, each in units of its scale.</summary>
    public Span<short> Packed => packed.AsSpan(index * PackedLength(count), PackedLength(count));

    /// <summary>Scales, then weights, then pulls, then the unit of what is relative, then hours.</summary>
    public Span<float> Sums => sums.AsSpan(index * SumsLength, SumsLength);

    public DateTimeOffset At => new(Ticks, TimeSpan.Zero);

    public static int PackedLength(int count) => (Whole * count) + ((Changes.Count - Whole) * (count - FromLevel));

    public const int SumsLength = (3 * Changes.Count) + 2;

    public static Onset Begin(long ticks, BalanceFilter filter)
    {
        var onset = new Onset(ticks, filter.Count, new short[PackedLength(filter.Count)], new float[SumsLength]);
        onset.Sums[^2] = (float)filter.MeanUse;
        Span<float> deviation = stackalloc float[filter.Count];
        for (var change = (Change)0; (int)change < Changes.Count; change++)
        {
            deviation.Clear();
            Jump(change, filter, deviation);
            onset.Pack(change, deviation[First(change)..], 0);
        }

        return onset;
    }

    private static void Jump(Change change, BalanceFilter filter, Span<float> deviation)
    {
        switch (change)
        {
            case Change.Leak:
                deviation[BalanceFilter.Leak] = 1;
                break;
            case Change.BackDrain:
                deviation[BalanceFilter.BackDrain] = 1;
                break;
            case Change.Use:
                deviation[BalanceFilter.Slow] = 1;
                break;
            case Change.Delivery:
                filter.Mean.AsSpan(BalanceFilter.Inflow, filter.Columns).CopyTo(deviation[BalanceFilter.Inflow..]);
                break;
            case Change.GrowingLeak or Change.Decline:
                break; // They begin with nothing.
            default:
                deviation.Slice(Changes.FirstHour(change), 3).Fill(1);
                break;
        }
    }

    /// <summary>The first unknown a deviation speaks of: changes of delivery disturb hardly more than the levels and deliveries.</summary>
    public static int First(Change change) => (int)change < Whole ? 0 : FromLevel;

    /// <summary>Sum of shown squared over variance; the information on the size.</summary>
    public float Weight(Change change) => Sums[Changes.Count + (int)change];

    /// <summary>Sum of shown times surprise over variance.</summary>
    public float Pull(Change change) => Sums[(2 * Changes.Count) + (int)change];

    /// <summary>Hours of all passages since: silences are not among them.</summary>
    public float SeenHours => Sums[^1];

    /// <summary>True less believed, for a change of size one.</summary>
    /// <param name="change">The change.</param>
    /// <param name="into">Receives one number an unknown from <see cref="First"/> on.</param>
    public void Unpack(Change change, Span<float> into)
    {
        Lanes.Scale(Slice(change), Sums[(int)change], into);
        Multiply(change, into, 1 / Sums[^2]);
    }

    /// <summary>These onsets after a passage.</summary>
    public static void After(ImmutableArray<Onset>.Builder onsets, int count, in Lesson lesson)
    {
        var packed = GC.AllocateUninitializedArray<short>(onsets.Count * PackedLength(count));
        var sums = GC.AllocateUninitializedArray<float>(onsets.Count * SumsLength);
        for (var i = 0; i < onsets.Count; i++)
        {
            onsets[i] = onsets[i].After(lesson, new(onsets[i].Ticks, count, packed, sums, i));
        }
    }

    /// <param name="lesson">The passage.</param>
    /// <param name="next">Receives everything; not seen by anyone yet.</param>
    public Onset After(in Lesson lesson, Onset next)
    {
        var was = Sums;
        var sums = next.Sums;
        was.CopyTo(sums);
        Span<float> room = stackalloc float[count];

        // Scales are kept for a day: to look for the largest of a row takes as long as all else with it.
        var isNewDay = (int)(SeenHours / 24) != (int)((SeenHours + lesson.Lasted) / 24);
        for (var change = (Change)0; (int)change < Changes.Count; change++)
        {
            var first = First(change);
            var deviation = room[first..];
            Unpack(change, deviation);
            Pass(change, deviation, first, lesson);
            var shown = 0.0;
            foreach (var i in lesson.Used)
            {
                shown += i < first ? 0 : lesson.Weights[i] * deviation[i - first];
            }

            sums[Changes.Count + (int)change] += (float)(shown * shown / lesson.Variance);
            sums[(2 * Changes.Count) + (int)change] += (float)(shown * lesson.Surprise / lesson.Variance);
            Lanes.Add(deviation, lesson.Gain[first..], (float)(-shown / lesson.Variance));
            next.Pack(change, deviation, isNewDay ? 0 : was[(int)change]);
        }

        sums[^1] += (float)lesson.Lasted;
        return next;
    }

    /// <summary>Levels fade, and what grows has grown.</summary>
    private static void Pass(Change change, Span<float> deviation, int first, in Lesson lesson)
    {
        deviation[BalanceFilter.Slow - first] *= (float)lesson.LeftSlow;
        deviation[BalanceFilter.Fast - first] *= (float)lesson.LeftFast;
        var days = (float)(lesson.Hours / 24);
        if (change == Change.GrowingLeak)
        {
            deviation[BalanceFilter.Leak] += days;
        }
        else if (change == Change.Decline)
        {
            Lanes.Add(deviation.Slice(BalanceFilter.Inflow - first, lesson.Inflows.Length), lesson.Inflows, days);
        }
    }

    private Span<short> Slice(Change change)
    {
        var row = (int)change;
        return row < Whole
            ? Packed.Slice(row * count, count)
            : Packed.Slice((Whole * count) + ((row - Whole) * (count - FromLevel)), count - FromLevel);
    }

    private void Pack(Change change, Span<float> deviation, float scale)
    {
        Multiply(change, deviation, Sums[^2]);
        Sums[(int)change] = Lanes.Pack(deviation, scale, Slice(change));
    }

    /// <summary>Relative unknowns are packed in litres per hour of the mean use, or they would be lost beside those that are litres per hour.</summary>
    private static void Multiply(Change change, Span<float> deviation, float unit)
    {
        var first = Math.Max(First(change), BalanceFilter.Weekend) - First(change);
        Lanes.Multiply(deviation[first..(BalanceFilter.Fast + 1 - First(change))], unit);
    }
}

/// <summary>What a passage teaches: all that an onset needs to know of it.</summary>
internal readonly ref struct Lesson
{
    /// <summary>Of the passage, one an unknown.</summary>
    public required ReadOnlySpan<float> Weights { get; init; }

    /// <summary>Where they are not zero.</summary>
    public required ReadOnlySpan<int> Used { get; init; }

    /// <summary>Covariance of the unknowns with the gain of the tank.</summary>
    public required ReadOnlySpan<float> Gain { get; init; }

    /// <summary>Deliveries believed, litres per hour.</summary>
    public required ReadOnlySpan<float> Inflows { get; init; }

    /// <summary>Seen less expected, litres.</summary>
    public required double Surprise { get; init; }

    /// <summary>Of the surprise.</summary>
    public required double Variance { get; init; }

    /// <summary>Hours of the passage.</summary>
    public required double Lasted { get; init; }

    /// <summary>Since the passage before.</summary>
    public required double Hours { get; init; }

    /// <summary>What is left of a slow and of a fast deviation of the level after those hours.</summary>
    public required double LeftSlow { get; init; }
    public required double LeftFast { get; init; }
}
