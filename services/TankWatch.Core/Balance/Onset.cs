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

    private readonly int count;

    /// <summary>Deviations one after another, each in units of its scale.</summary>
    public readonly short[] Packed;

    /// <summary>Scales, then weights, then pulls, then the unit of what is relative, then hours.</summary>
    public readonly float[] Sums;
    public readonly long Ticks;

    public Onset(long ticks, int count, short[] packed, float[] sums) => (Ticks, this.count, Packed, Sums) = (ticks, count, packed, sums);

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

    /// <summary>This onset after a passage.</summary>
    public Onset After(in Lesson lesson)
    {
        var next = new Onset(Ticks, count, GC.AllocateUninitializedArray<short>(Packed.Length), (float[])Sums.Clone());
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

            next.Sums[Changes.Count + (int)change] += (float)(shown * shown / lesson.Variance);
            next.Sums[(2 * Changes.Count) + (int)change] += (float)(shown * lesson.Surprise / lesson.Variance);
            Lanes.Add(deviation, lesson.Gain[first..], (float)(-shown / lesson.Variance));
            next.Pack(change, deviation, isNewDay ? 0 : Sums[(int)change]);
        }

        next.Sums[^1] += (float)lesson.Lasted;
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
        var index = (int)change;
        return index < Whole
            ? Packed.AsSpan(index * count, count)
            : Packed.AsSpan((Whole * count) + ((index - Whole) * (count - FromLevel)), count - FromLevel);
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
        foreach (ref var relative in deviation[first..(BalanceFilter.Fast + 1 - First(change))])
        {
            relative *= unit;
        }
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
