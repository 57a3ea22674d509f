namespace TankWatch.Simulator.Use;

/// <summary>The use that a pattern asks for at each moment: its days follow one another, each a little like the one before.</summary>
internal sealed class UseOverTime
{
    private readonly UsePattern _pattern;
    private readonly SeededStream _random;
    private readonly double _levelPhase;
    private readonly double _shapePhase;
    private readonly double _shapeHour;
    private readonly double[] _hours = new double[24];
    private DateTime _date;
    private double _level;

    public UseOverTime(UsePattern pattern, ulong seed, string site)
    {
        _pattern = pattern;
        _random = new SeededStream(seed, $"{site}/days");
        _levelPhase = _random.Unit();
        _shapePhase = _random.Unit();
        _shapeHour = _random.Between(0, 24);
        _level = _random.Normal();
    }

    /// <param name="local">Not before that of the last call.</param>
    /// <returns>Use over the mean use of a weekday; the hours' values hold at half past and are joined by straight lines.</returns>
    public double At(DateTime local)
    {
        if (local.Date != _date)
        {
            _date = local.Date;
            BeginDay(local.DayOfWeek is DayOfWeek.Saturday or DayOfWeek.Sunday);
        }

        return DayPattern.Between(_hours, local);
    }

    /// <summary>Level and shape drift in slow waves, each with a phase of its own; the shape's runs round the clock once.</summary>
    private void BeginDay(bool weekend)
    {
        _level = (_pattern.DayMemory * _level) + (Math.Sqrt(1 - (_pattern.DayMemory * _pattern.DayMemory)) * _random.Normal());
        var weeks = _date.Ticks / (double)TimeSpan.TicksPerDay / _pattern.DriftDays;
        var level = Math.Exp((_pattern.DaySpread * _level) - (_pattern.DaySpread * _pattern.DaySpread / 2))
            * (1 + (_pattern.LevelDrift * Math.Sin(Math.Tau * (weeks + _levelPhase)))) * (weekend ? _pattern.WeekendScale : 1);
        var wave = _pattern.ShapeDrift * Math.Sin(Math.Tau * (weeks + _shapePhase));
        var shape = weekend ? _pattern.Weekend : _pattern.Weekday;
        for (var hour = 0; hour < 24; hour++)
        {
            _hours[hour] = shape[hour] * (1 + (wave * Math.Cos(Math.Tau * (hour - _shapeHour) / 24)));
        }

        var scale = level / _hours.Average();
        for (var hour = 0; hour < 24; hour++)
        {
            _hours[hour] *= scale;
        }
    }
}
