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
internal readonly struct Onset
{
    private const int Whole = (int)Changes.FirstOfDelivery;
    private const int FromLevel = BalanceFilter.Slow;

    private readonly int count, index;
    private readonly short[] packed;
    private readonly float[] sums;
    public readonly long Ticks;

    /// <param name="ticks">UTC.</param>
    /// <param name="count">Of unknowns.</param>
    /// <param name="packed">See <see cref="Packed"/>.</param>
    /// <param name="sums">See <see cref="Sums"/>.</param>
    public Onset(long ticks, int count, ReadOnlySpan<short> packed, ReadOnlySpan<float> sums)
        : this(ticks, count, [.. packed, .. new short[Lanes.Padded(1)]], sums.ToArray(), 0)
    {
    }

    // Of several, this one the index-th: what is renewed together is kept together.
    private Onset(long ticks, int count, short[] packed, float[] sums, int index)
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
        var onset = new Onset(ticks, filter.Count, Room(1, filter.Count), new float[SumsLength], 0);
        onset.Sums[^2] = (float)filter.MeanUse;
        var desk = new OnsetDesk(filter.Count, stackalloc float[OnsetDesk.RoomFor(filter.Count)]);
        desk.Relative((float)filter.MeanUse);
        for (var change = (Change)0; (int)change < Changes.Count; change++)
        {
            desk.Deviation.Clear();
            Jump(change, filter, desk.Deviation);
            onset.Pack(change, desk, 0, 0);
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

    /// <summary>True less believed, for a change of size one: one number an unknown, zero before <see cref="First"/>.</summary>
    public void Unpack(Change change, Span<float> into)
    {
        var desk = new OnsetDesk(count, stackalloc float[OnsetDesk.RoomFor(count)]);
        desk.Relative(Sums[^2]);
        Unpack(change, desk);
        desk.Deviation[..count].CopyTo(into);
    }

    /// <summary>These onsets after a passage.</summary>
    /// <param name="onsets">Each is replaced.</param>
    /// <param name="count">Of unknowns.</param>
    /// <param name="lesson">The passage.</param>
    public static void After(Span<Onset> onsets, int count, in Lesson lesson)
    {
        var packed = Room(onsets.Length, count);
        var sums = GC.AllocateUninitializedArray<float>(onsets.Length * SumsLength);
        var desk = new OnsetDesk(count, stackalloc float[OnsetDesk.RoomFor(count)]);
        desk.Take(lesson);
        for (var i = 0; i < onsets.Length; i++)
        {
            var next = new Onset(onsets[i].Ticks, count, packed, sums, i);
            onsets[i].After(lesson, desk, next);
            onsets[i] = next;
        }
    }

    /// <param name="lesson">The passage.</param>
    /// <param name="desk">With the passage taken.</param>
    /// <param name="next">Receives everything; not seen by anyone yet.</param>
    private void After(in Lesson lesson, in OnsetDesk desk, Onset next)
    {
        var was = Sums;
        var sums = next.Sums;
        was.CopyTo(sums);
        desk.Relative(was[^2]);

        // Scales are kept for a day: a number that did not change is not rounded anew at each passage.
        var isNewDay = (int)(SeenHours / 24) != (int)((SeenHours + lesson.Lasted) / 24);
        for (var change = (Change)0; (int)change < Changes.Count; change++)
        {
            Unpack(change, desk);
            Grow(change, desk.Deviation, lesson);
            var shown = desk.Shown(lesson, (int)change < Whole ? 0 : desk.FirstLate);
            var share = shown / lesson.Variance;
            sums[Changes.Count + (int)change] += (float)(shown * share);
            sums[(2 * Changes.Count) + (int)change] += (float)(lesson.Surprise * share);
            next.Pack(change, desk, (float)-share, isNewDay ? 0 : was[(int)change]);
        }

        sums[^1] += (float)lesson.Lasted;
    }

    private static void Grow(Change change, Span<float> deviation, in Lesson lesson)
    {
        var days = (float)(lesson.Hours / 24);
        if (change == Change.GrowingLeak)
        {
            deviation[BalanceFilter.Leak] += days;
        }
        else if (change == Change.Decline)
        {
            Lanes.Add(deviation.Slice(BalanceFilter.Inflow, lesson.Inflows.Length), lesson.Inflows, days);
        }
    }

    private void Unpack(Change change, in OnsetDesk desk)
    {
        var from = First(change);
        var row = PaddedRow(change);
        Lanes.Unpack(
            row, Sums[(int)change], desk.Back.Slice(from, row.Length), desk.Left.Slice(from, row.Length), desk.Row.Slice(from, row.Length));
    }

    private void Pack(Change change, in OnsetDesk desk, float factor, float scale)
    {
        var from = First(change);
        var packed = PaddedRow(change);
        var row = desk.Row.Slice(from, packed.Length);
        var mosts = Lanes.Add(row, desk.Gain.Slice(from, packed.Length), factor, desk.Units.Slice(from, packed.Length));
        Sums[(int)change] = Lanes.Pack(row, mosts, scale, packed);
    }

    // Rows are read and written padded: what is written behind a row is the next one's, which is written later, and the last has room behind it.
    private Span<short> PaddedRow(Change change)
    {
        var row = (int)change;
        var (from, length) = row < Whole ? (row * count, count) : ((Whole * count) + ((row - Whole) * (count - FromLevel)), count - FromLevel);
        return packed.AsSpan((index * PackedLength(count)) + from, Lanes.Padded(length));
    }

    private static short[] Room(int onsets, int count) => GC.AllocateUninitializedArray<short>((onsets * PackedLength(count)) + Lanes.Padded(1));
}
