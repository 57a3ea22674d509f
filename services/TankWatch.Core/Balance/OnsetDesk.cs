namespace TankWatch.Core.Balance;

/// <summary>Where the deviations of one onset after another are worked on: rows of a number an unknown, with zeros behind for padding.</summary>
internal ref struct OnsetDesk
{
    private const int Rows = 5;

    private readonly int count;

    /// <param name="count">Of unknowns.</param>
    /// <param name="room">As long as <see cref="RoomFor"/>, and zero.</param>
    public OnsetDesk(int count, Span<float> room)
    {
        (this.count, var row) = (count, room.Length / Rows);
        Row = room[..row];
        Gain = room.Slice(row, row);
        Units = room.Slice(2 * row, row);
        Back = room.Slice(3 * row, row);
        Left = room.Slice(4 * row, row);
        Units[..count].Fill(1);
        Back[..count].Fill(1);
        Left[..count].Fill(1);
    }

    // A row of those that begin at a level is padded from there.
    public static int RoomFor(int count) => Rows * (BalanceFilter.Slow + Lanes.Padded(count));

    /// <summary>True less believed.</summary>
    public Span<float> Row { get; }

    /// <inheritdoc cref="Row"/>
    public readonly Span<float> Deviation => Row[..count];

    /// <inheritdoc cref="Lesson.Gain"/>
    public Span<float> Gain { get; }

    /// <summary>What each is multiplied by before it is packed, and after it is unpacked.</summary>
    public Span<float> Units { get; }

    /// <inheritdoc cref="Units"/>
    public Span<float> Back { get; }

    /// <summary>What the time of a passage leaves of each.</summary>
    public Span<float> Left { get; }

    /// <summary>Where in <see cref="Lesson.Used"/> those begin that changes of delivery disturb.</summary>
    public int FirstLate { get; private set; }

    /// <summary>Relative unknowns are packed in litres per hour of the mean use, or they would be lost beside those that are litres per hour.</summary>
    public readonly void Relative(float unit)
    {
        Units[BalanceFilter.Weekend..(BalanceFilter.Fast + 1)].Fill(unit);
        Back[BalanceFilter.Weekend..(BalanceFilter.Fast + 1)].Fill(1 / unit);
    }

    public void Take(in Lesson lesson)
    {
        lesson.Gain.CopyTo(Gain);
        (Left[BalanceFilter.Slow], Left[BalanceFilter.Fast]) = ((float)lesson.LeftSlow, (float)lesson.LeftFast);
        while (FirstLate < lesson.Used.Length && lesson.Used[FirstLate] < BalanceFilter.Slow)
        {
            FirstLate++;
        }
    }

    /// <summary>What a passage shows of the deviation, litres.</summary>
    /// <param name="lesson">The passage.</param>
    /// <param name="from">Index of the first in <see cref="Lesson.Used"/>.</param>
    public readonly double Shown(in Lesson lesson, int from)
    {
        var row = Row;
        var weights = lesson.Weights;
        var shown = 0.0;
        foreach (var i in lesson.Used[from..])
        {
            shown += weights[i] * row[i];
        }

        return shown;
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
