namespace TankWatch.Core.Balance;

/// <summary>Hours of inflow by way in: a pump on its own, or a pump that shares its riser with another tank that takes water.</summary>
internal record struct Inflows(double First, double Second, double Third, double Fourth)
{
    /// <summary>More ways in than this into one tank are not told apart, and nothing is learnt while one of them runs.</summary>
    public const int Most = 4;

    public double this[int way]
    {
        readonly get => way switch
        {
            0 => First,
            1 => Second,
            2 => Third,
            3 => Fourth,
            _ => throw new ArgumentOutOfRangeException(nameof(way)),
        };
        set => (First, Second, Third, Fourth) = way switch
        {
            0 => (value, Second, Third, Fourth),
            1 => (First, value, Third, Fourth),
            2 => (First, Second, value, Fourth),
            3 => (First, Second, Third, value),
            _ => throw new ArgumentOutOfRangeException(nameof(way)),
        };
    }

    public readonly double Sum => First + Second + Third + Fourth;

    /// <summary>How many ways carried water.</summary>
    public readonly int Ways => (First > 0 ? 1 : 0) + (Second > 0 ? 1 : 0) + (Third > 0 ? 1 : 0) + (Fourth > 0 ? 1 : 0);
}

/// <summary>
/// The water's way from one probe to the next: how the content changed between two moments at which it was known.
/// </summary>
/// <param name="From">Index of the probe passed first.</param>
/// <param name="To">Index of the probe passed last; the same one when the surface came back to it.</param>
/// <param name="FromFalling">The surface sank through it: someone was drawing water at that moment.</param>
/// <param name="ToFalling">The same of the last.</param>
/// <param name="Start">UTC.</param>
/// <param name="End">UTC, after <paramref name="Start"/>.</param>
/// <param name="On">Hours of inflow meanwhile.</param>
/// <param name="LowVoltage">A pump ran at a voltage well below its usual one.</param>
internal readonly record struct Passage(
    int From, int To, bool FromFalling, bool ToFalling, DateTimeOffset Start, DateTimeOffset End, Inflows On, bool LowVoltage)
{
    private readonly long start = Start.UtcTicks, end = End.UtcTicks;

    public DateTimeOffset Start { get => new(start, TimeSpan.Zero); init => start = value.UtcTicks; }
    public DateTimeOffset End { get => new(end, TimeSpan.Zero); init => end = value.UtcTicks; }

    public double Hours => (End - Start).TotalHours;

    public double OnHours => On.Sum;
}
