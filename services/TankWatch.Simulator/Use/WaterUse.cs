using TankWatch.Core.Sites;
using TankWatch.Simulator.Faults;

namespace TankWatch.Simulator.Use;

/// <summary>People's draws from the overhead tanks: a compound Poisson process whose rate follows the local day.</summary>
internal sealed class WaterUse
{
    // Seven in ten draws are small (a hand-wash, a flush), the others a shower or a machine: 15 L on average.
    private const double SmallShare = 0.7;
    private const double SmallMeanLitres = 6;
    private const double LargeLowLitres = 20;
    private const double LargeHighLitres = 52;
    private const double MeanLitres = (SmallShare * SmallMeanLitres) + ((1 - SmallShare) * (LargeLowLitres + LargeHighLitres) / 2);
    private const int AssumedResidents = 24;
    private const double SmallestDraw = 0.2; // Of the mean, where the pattern gives one.
    private const long WateringMs = 90 * 60_000;

    private readonly SitePlan _plan;
    private readonly SimulationOptions _options;
    private readonly FaultSchedule _faults;
    private readonly Agenda _agenda;
    private readonly SeededStream[] _random;
    private readonly double[] _litresPerDay;
    private readonly int[] _open;
    private readonly UseOverTime? _pattern;

    public WaterUse(SitePlan plan, SimulationOptions options, FaultSchedule faults, Agenda agenda)
    {
        _plan = plan;
        _options = options;
        _faults = faults;
        _agenda = agenda;
        LitresPerDay = (options.ConstantUseLitresPerMinute * 1440) ?? ((options.Residents ?? plan.Residents ?? AssumedResidents) * options.LitresPerPersonPerDay);
        var overhead = plan.Tanks.Where(t => t.Role is TankRole.Overhead).Sum(t => t.Capacity.Value);
        _litresPerDay = [.. plan.Tanks.Select(t => t.Role is TankRole.Overhead ? LitresPerDay * t.Capacity.Value / overhead : 0)];
        _random = [.. plan.Tanks.Select(t => new SeededStream(options.Seed, $"{plan.Id}/use/{t.Id}"))];
        _open = new int[plan.Tanks.Length];
        _pattern = options.Use is { } use ? new UseOverTime(use, options.Seed, plan.Id.Value) : null;
        LitresPerSecond = new double[plan.Tanks.Length];
    }

    /// <summary>Mean use of the whole site.</summary>
    public double LitresPerDay { get; }

    /// <summary>What taps ask for now, by tank index.</summary>
    public double[] LitresPerSecond { get; }

    /// <summary>Puts the draws from now to the next tick on the agenda.</summary>
    public void PlanTick(long nowMs, DateTime local)
    {
        var factor = _pattern?.At(local) ?? (DayPattern.At(local) * DayFactor(local));
        foreach (var tank in _plan.Tanks)
        {
            var scale = _faults.Find(FaultKind.HeavyUse, tank.Id.Value)?.EffectiveSize ?? 1;
            var litresPerMinute = scale * _litresPerDay[tank.Index] / 1440;
            if (_options.ConstantUseLitresPerMinute is not null)
            {
                LitresPerSecond[tank.Index] = litresPerMinute / 60;
            }
            else if (litresPerMinute > 0)
            {
                PlanDraws(tank.Index, nowMs, factor * litresPerMinute * _options.Tick.TotalMinutes / (_options.Use?.DrawLitres ?? MeanLitres));
            }

            Water(tank, nowMs, local);
        }
    }

    private void PlanDraws(int tank, long nowMs, double expected)
    {
        var random = _random[tank];
        for (var left = random.Poisson(expected); left > 0; left--)
        {
            var startMs = nowMs + (long)random.Between(0, _options.Tick.TotalMilliseconds);
            var litres = _options.Use is { } use ? use.DrawLitres * random.Between(SmallestDraw, 2 - SmallestDraw)
                : random.Chance(SmallShare) ? random.Exponential(SmallMeanLitres)
                : random.Between(LargeLowLitres, LargeHighLitres);
            var litresPerSecond = random.Between(4, 12) / 60;
            _agenda.At(startMs, () => Open(tank, litresPerSecond));
            _agenda.At(startMs + Math.Max(1, (long)(1000 * litres / litresPerSecond)), () => Close(tank, litresPerSecond));
        }
    }

    /// <summary>Opens the garden's tap when its time of day comes.</summary>
    private void Water(Tank tank, long nowMs, DateTime local)
    {
        if (_faults.Find(FaultKind.NightWatering, tank.Id.Value) is { } watering
            && TimeZoneInfo.ConvertTime(watering.From, _plan.TimeZone).TimeOfDay is var begins
            && begins >= local.TimeOfDay && begins < local.TimeOfDay + _options.Tick)
        {
            var startMs = nowMs + (long)(begins - local.TimeOfDay).TotalMilliseconds;
            var litresPerSecond = watering.EffectiveSize / WateringMs * 1000;
            _agenda.At(startMs, () => Open(tank.Index, litresPerSecond));
            _agenda.At(startMs + WateringMs, () => Close(tank.Index, litresPerSecond));
        }
    }

    private void Open(int tank, double litresPerSecond)
    {
        _open[tank]++;
        LitresPerSecond[tank] += litresPerSecond;
    }

    private void Close(int tank, double litresPerSecond)
    {
        // Set to 0 rather than subtracted to 0: a remainder of rounding would draw for ever.
        LitresPerSecond[tank] = --_open[tank] == 0 ? 0 : LitresPerSecond[tank] - litresPerSecond;
    }

    /// <summary>A day's own level of use, the same whenever it is asked for.</summary>
    private double DayFactor(DateTime local)
    {
        var day = new SeededStream(_options.Seed + (ulong)(local.Date.Ticks / TimeSpan.TicksPerDay), $"{_plan.Id}/day");
        return Math.Clamp(1 + (0.08 * day.Normal()), 0.75, 1.3);
    }
}
