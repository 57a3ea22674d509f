using System.Collections.Immutable;
using TankWatch.Core.Sites;
using TankWatch.Simulator.Faults;

namespace TankWatch.Simulator.Use;

/// <summary>The public supply into the sumps: in its hours if the site file gives any, else a low flow all day.</summary>
internal sealed class PublicSupply
{
    private const double HeadroomInHours = 1.8;
    private const double HeadroomAllDay = 1.5;

    private readonly SitePlan _plan;
    private readonly SimulationOptions _options;
    private readonly FaultSchedule _faults;
    private readonly ImmutableArray<SupplyHours> _hours;
    private readonly double _litresPerSecond;
    private double _flowNow;

    public PublicSupply(SitePlan plan, SimulationOptions options, FaultSchedule faults, double litresPerDay)
    {
        _plan = plan;
        _options = options;
        _faults = faults;
        var sumps = Math.Max(1, plan.Tanks.Count(t => t.Role is TankRole.Sump));
        _hours = options.SupplyHours ?? plan.SupplyHours;
        var minutes = _hours.Length == 0 ? 1440 : _hours.Sum(Minutes);
        var headroom = _hours.Length == 0 ? HeadroomAllDay : HeadroomInHours;
        _litresPerSecond = (options.PublicSupplyLitresPerMinute ?? (headroom * litresPerDay / sumps / minutes)) / 60;
        LitresPerSecond = new double[plan.Tanks.Length];
    }

    /// <summary>What each sump is offered now, by tank index; its float valve may refuse it.</summary>
    public double[] LitresPerSecond { get; }

    public void Update(DateTime local)
    {
        var time = TimeOnly.FromDateTime(local);
        var runs = _hours.Length == 0;
        foreach (var span in _hours)
        {
            runs |= time.IsBetween(span.From, span.To);
        }

        _flowNow = runs ? _litresPerSecond * DayFactor(local) : 0;
        ApplyFaults();
    }

    /// <summary>A fault need not wait for the next minute.</summary>
    public void ApplyFaults()
    {
        foreach (var tank in _plan.Tanks)
        {
            var id = tank.Id.Value;
            var share = _faults.Find(FaultKind.SupplyMissed, id)?.EffectiveSize ?? 1;
            LitresPerSecond[tank.Index] = tank.Role is TankRole.Sump && !_faults.Has(FaultKind.DrySump, id) ? _flowNow * share : 0;
        }
    }

    private double DayFactor(DateTime local)
    {
        if (_options.PublicSupplyLitresPerMinute is not null)
        {
            return 1;
        }

        var day = new SeededStream(_options.Seed + (ulong)(local.Date.Ticks / TimeSpan.TicksPerDay), $"{_plan.Id}/supply");
        return day.Between(0.9, 1.1);
    }

    private static double Minutes(SupplyHours hours) => ((hours.To - hours.From).TotalMinutes + 1440) % 1440 is var m && m > 0 ? m : 1440;
}
