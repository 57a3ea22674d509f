namespace TankWatch.Core.Alerts.Load;

/// <summary>What a person can be asked to take in.</summary>
/// <param name="Acceptable">Very likely acceptable up to this.</param>
/// <param name="Manageable">The most that is held to be manageable.</param>
public readonly record struct RateTarget(double Acceptable, double Manageable);

/// <summary>
/// The figures of ISA-18.2-2016 for the alarms of one operator, averages over 30 days, as remembered and not read in the standard
/// (CHECKS F4 [M]). They are for somebody whose work is to watch a plant: a caretaker should be far below them.
/// </summary>
public static class LoadTargets
{
    public static readonly TimeSpan Window = TimeSpan.FromDays(30);

    /// <summary>"About": 144 and 288 are one and two in ten minutes, all day.</summary>
    public static readonly RateTarget PerDay = new(150, 300);

    public static readonly RateTarget PerHour = new(6, 12);

    /// <summary>The most that is manageable is EEMUA 191's one in five minutes, and the acceptable its one in ten (CHECKS F5 [M]).</summary>
    public static readonly RateTarget PerTenMinutes = new(1, 2);

    /// <summary>An hour with more than 30, and ten minutes with more than 10, are to be rarer than <see cref="LeastShare"/> of the time.</summary>
    public const int BusyHour = 30, BusyTenMinutes = 10;

    /// <summary>Below this share of the time: busy hours, busy ten minutes, floods.</summary>
    public const double LeastShare = 0.01;

    /// <summary>A flood begins with this many in ten minutes (some editions: more than 10), and ends with fewer than the second.</summary>
    public const int FloodBegins = 10, FloodEnds = 5;

    /// <summary>The ten worst sources should make up no more than this share of the load.</summary>
    public const double WorstShare = 0.05;

    /// <summary>Fewer than this many stale at any time.</summary>
    public const int Stale = 5;

    /// <summary>Low, medium, and above; shares.</summary>
    public const double Low = 0.80, Medium = 0.15, High = 0.05;

    /// <summary>Longer than this without end is stale.</summary>
    public static readonly TimeSpan StaleAfter = TimeSpan.FromHours(24);

    /// <summary>Three within a minute chatter: a convention, not in the standard (CHECKS F6 [V-2nd]). What ends within it, alone, is fleeting (ours).</summary>
    public static readonly TimeSpan Brief = TimeSpan.FromMinutes(1);
    public const int Chatters = 3;
}

/// <summary>What the figures come to, in one word.</summary>
public enum LoadVerdict
{
    /// <summary>Nobody was told of anything.</summary>
    Silent,

    /// <summary>Within what is held to be acceptable, and never too many at once.</summary>
    Quiet,

    /// <summary>Acceptable on average, with more than ten in ten minutes at least once.</summary>
    Bursts,

    /// <summary>More than acceptable, or too many at once for 1 % of the time.</summary>
    Demanding,

    /// <summary>More than is held to be manageable.</summary>
    TooMuch,
}
