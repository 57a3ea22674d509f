using System.Collections.Immutable;

namespace TankWatch.Simulator.Use;

/// <summary>How the people of one site draw water, and how that changes over weeks.</summary>
public sealed record UsePattern
{
    /// <summary>Use of each local hour over the mean hour of a weekday: 24 values whose mean is 1.</summary>
    public required ImmutableArray<double> Weekday { get; init; }

    /// <summary>The same for Saturday and Sunday, before <see cref="WeekendScale"/>: mean 1.</summary>
    public required ImmutableArray<double> Weekend { get; init; }

    /// <summary>Use of a day at the weekend over that of a weekday.</summary>
    public double WeekendScale { get; init; } = 1;

    /// <summary>Mean of one draw; each lies between a fifth of it and 1.8 of it. Litres.</summary>
    public double DrawLitres { get; init; } = 15;

    /// <summary>Standard deviation of a day's level, over its mean.</summary>
    public double DaySpread { get; init; } = 0.08;

    /// <summary>Correlation of one day's level with the next's. 0 to below 1.</summary>
    public double DayMemory { get; init; }

    /// <summary>Most by which the level of use strays over weeks, of the whole.</summary>
    public double LevelDrift { get; init; }

    /// <summary>Most by which an hour's share strays over weeks, of itself.</summary>
    public double ShapeDrift { get; init; }

    /// <summary>How long such a drift takes to come back.</summary>
    public double DriftDays { get; init; } = 50;
}
