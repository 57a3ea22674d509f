namespace TankWatch.Core.Balance;

/// <summary>What the balance takes for granted of how people draw water and pumps deliver it. docs/method.md gives equations and sources.</summary>
/// <remarks>
/// The spreads were fitted by marginal likelihood on the healthy stretches of simulated water systems whose solver shares nothing with
/// this code; the size of a draw agrees within a third with what homes are known for (a flush 6 to 9 L, a shower 30 to 60 L: common practice, no source).
/// </remarks>
internal static class BalanceModel
{
    /// <summary>Mean of the squared litres of a draw over its mean, litres: use over a stretch varies by this times the use.</summary>
    public const double DrawLitres = 17;

    /// <summary>
    /// A falling surface is seen at a probe while someone draws: half of <see cref="DrawLitres"/> is still to come of that draw
    /// (Palm calculus of a compound Poisson flow; any text on point processes).
    /// </summary>
    public const double StillToCome = DrawLitres / 2;

    /// <summary>How long the rest of a draw flows, hours: a passage shorter than that does not see all of it.</summary>
    public const double DrawHours = 0.5 / 60;

    /// <summary>The level of use wanders: relative spread and hours of memory, slow and fast.</summary>
    public const double SlowSpread = 0.15, SlowHours = 4500, FastSpread = 0.07, FastHours = 45;

    /// <summary>A stretch's own level besides, relative.</summary>
    public const double OwnSpread = 0.045;

    /// <summary>How far use on Saturdays and Sundays may differ from other days, relative, for each four hours of the day.</summary>
    public const double WeekendSpread = 0.25;

    /// <summary>Delivery from run to run, relative: the level of the sump and of the tank.</summary>
    public const double RunSpread = 0.0095;

    /// <summary>How far an hour's use and a delivery wander in a day, relative, spread per square root of a day.</summary>
    public const double HourDrift = 0.003, InflowDrift = 0.0005;

    /// <summary>A decline of delivery that was found goes on for about this many hours before it has to be found again.</summary>
    public const double TrendHours = 1440;

    /// <summary>A found leak or back-drain may change by this share of the mean use in a day.</summary>
    public const double OutflowDrift = 0.01;

    /// <summary>Content at an inner probe against what the site file says, as a share of all between lowest and highest.</summary>
    public const double ProbeSpread = 0.02;

    /// <summary>Content at a crossing, as a share of the tank's capacity: ripple, and the time a unit takes to see it.</summary>
    public const double CrossingSpread = 0.001;

    /// <summary>
    /// Delivery at a voltage well below the usual one is anybody's guess, and so is the moment at which the float valve of a tank that has become
    /// full lets the other have it all; relative.
    /// </summary>
    public const double UnsteadySpread = 0.25;

    /// <summary>
    /// Flow through a hole grows with the root of the depth above it (Torricelli), through a tap below not at all; a content to this power lies between.
    /// </summary>
    public const double LeakExponent = 0.25;

    /// <summary>Passages that tell the mean use and delivery to start from, and how many must have been seen before a change is looked for.</summary>
    public const int FirstPassages = 24, EnoughPassages = 60;

    /// <summary>No level of use is taken for lower, relative, and no hour's use, of the mean hour's: below lies what cannot be told from nothing.</summary>
    public const double LowestLevel = 0.2, LowestHour = 0.02;

    public const int Hours = 24, WeekendBlocks = 6;
}
