using System.Collections.Immutable;
using TankWatch.Core.Sites;
using TankWatch.Simulator.Faults;

namespace TankWatch.Simulator.Water;

/// <summary>
/// All the water of a site. Flows are constant between events, so volumes are straight lines and their crossings are
/// found, not searched for: the result cannot depend on a step length.
/// </summary>
internal sealed class Waterworks
{
    // Of the sump: as it empties, the pump lifts from lower down.
    private const double SumpDepthMetres = 1.2;
    private const double EmptyingSeconds = 120;
    private const double WeakestShare = 0.3;

    private const double TankDepthMetres = 1.2;

    private readonly FaultSchedule _faults;
    private readonly bool _entersBelow;
    private readonly double _storedAtStart;
    private double _supplied;
    private double _fromBore;
    private double _used;
    private double _leaked;
    private double _overflowed;
    private double _drained;
    private double _backToBore;

    public Waterworks(SitePlan plan, SimulationOptions options, FaultSchedule faults)
    {
        _faults = faults;
        _entersBelow = options.RiserEntersBelow;
        var random = new SeededStream(options.Seed, $"{plan.Id}/water");
        Tanks = [.. plan.Tanks.Select(t => new TankWater(t, InitialLitres(t, options, random)))];
        Pumps = [.. plan.Pumps.Select(p => new PumpWater(p, options, random))];
        _storedAtStart = Stored();
    }

    public TankWater[] Tanks { get; }
    public PumpWater[] Pumps { get; }

    /// <summary>Finds every flow from here to the next event.</summary>
    /// <param name="now">True time, for faults that grow.</param>
    /// <param name="supply">Litres per second each sump is offered, by tank index.</param>
    /// <param name="use">Litres per second that taps ask for, by tank index.</param>
    /// <param name="speed">Of every motor, over its rated speed.</param>
    public void Solve(DateTimeOffset now, double[] supply, double[] use, double speed)
    {
        foreach (var tank in Tanks)
        {
            tank.MoveValves();
            tank.In = tank.FloatClosed ? 0 : supply[tank.Plan.Index];
            tank.Use = use[tank.Plan.Index];
            tank.Leak = LeakLitresPerHour(tank, now) / 3600;
            tank.Drain = _faults.Has(FaultKind.DrySump, tank.Plan.Id.Value) ? tank.Capacity / EmptyingSeconds : 0;
            tank.Pumped = 0;
            tank.BackDrain = 0;
        }

        foreach (var pump in Pumps)
        {
            SolvePump(pump, now, speed);
        }

        foreach (var tank in Tanks)
        {
            tank.Balance();
        }
    }

    public void Pass(double seconds)
    {
        foreach (var tank in Tanks)
        {
            _used += tank.Use * seconds;
            _leaked += tank.Leak * seconds;
            _drained += tank.Drain * seconds;
            _overflowed += tank.Overflow * seconds;
            tank.Pass(seconds);
        }

        foreach (var pump in Pumps)
        {
            _fromBore += pump.Plan.From is null ? pump.Delivery * seconds : 0;
            _backToBore += pump.Plan.From is null ? pump.BackDrain * seconds : 0;
            pump.Pass(seconds);
        }

        foreach (var sump in Tanks)
        {
            _supplied += SuppliedTo(sump) * seconds;
        }
    }

    /// <summary>Seconds until a valve moves, a riser fills or a tank is empty or full; infinite if nothing does.</summary>
    public double SecondsToMark()
    {
        var nearest = double.PositiveInfinity;
        foreach (var tank in Tanks)
        {
            nearest = Math.Min(nearest, tank.SecondsToMark());
        }

        foreach (var pump in Pumps)
        {
            nearest = Math.Min(nearest, pump.SecondsToMark());
        }

        return nearest;
    }

    public SiteTruth TruthAt(DateTimeOffset now) => new(
        now,
        new WaterBalance(_supplied, _fromBore, _used, _leaked, _overflowed, _drained, _backToBore, _storedAtStart, Stored()),
        Tanks.ToImmutableSortedDictionary(t => t.Plan.Id.Value, t => t.Litres, StringComparer.Ordinal),
        Pumps.ToImmutableSortedDictionary(
            p => p.Plan.Id.Value,
            p => new PumpTruth(p.Running, p.Starts, p.DeliveredLitres, p.RunSeconds, p.Joules / 3.6e6, p.BackDrainedLitres),
            StringComparer.Ordinal));

    private void SolvePump(PumpWater pump, DateTimeOffset now, double speed)
    {
        pump.Rest();
        var id = pump.Plan.Id.Value;
        var sump = pump.Plan.From is { } index ? Tanks[index] : null;
        if (!pump.Running)
        {
            SolveBackDrain(pump, sump, (_faults.Find(FaultKind.BackDrain, id)?.EffectiveSize ?? 0) / 3600);
            return;
        }

        var dry = sump?.SuctionDry ?? _faults.Has(FaultKind.DrySump, id);
        if (!dry)
        {
            var lift = pump.LiftMetres + (sump is null ? 0 : SumpDepthMetres * (1 - (sump.Litres / sump.Capacity))) + WaterAbove(pump);
            var open = pump.Plan.To.Count(t => pump.IsOpen(Tanks[t]));
            pump.Delivery = pump.Curve.LitresPerSecond(speed, lift, open) * ShareLeft(id, now);
        }

        pump.Share(Tanks);
        pump.Watts = InputWatts(pump, speed);
        if (sump is not null)
        {
            sump.Pumped += pump.Delivery;
        }
    }

    /// <summary>From above its inlet only the riser drains; from below, the tanks do.</summary>
    private void SolveBackDrain(PumpWater pump, TankWater? sump, double litresPerSecond)
    {
        if (litresPerSecond == 0)
        {
            return;
        }

        if (pump.EntersAtTop)
        {
            pump.DrainRiser(litresPerSecond);
        }
        else
        {
            var sources = pump.Plan.To.Select(t => Tanks[t]).Where(t => t.Litres > 0).ToList();
            pump.BackDrain = sources.Count > 0 ? litresPerSecond : 0;
            foreach (var source in sources)
            {
                source.BackDrain += litresPerSecond / sources.Count;
            }
        }

        if (sump is not null)
        {
            sump.In += pump.BackDrain;
        }
    }

    /// <summary>Metres of water over the middle of the tanks that a riser from below must lift into.</summary>
    private double WaterAbove(PumpWater pump)
    {
        var (litres, capacity) = (0.0, 0.0);
        foreach (var index in pump.Plan.To)
        {
            litres += Tanks[index].Litres;
            capacity += Tanks[index].Capacity;
        }

        return _entersBelow ? TankDepthMetres * ((litres / capacity) - 0.5) : 0;
    }

    private double LeakLitresPerHour(TankWater tank, DateTimeOffset now)
    {
        var id = tank.Plan.Id.Value;
        var steady = _faults.Find(FaultKind.Leak, id)?.EffectiveSize ?? 0;

        // By Torricelli; the level hardly moves within the few minutes at most for which flows are held.
        var orifice = (_faults.Find(FaultKind.OrificeLeak, id)?.EffectiveSize ?? 0) * Math.Sqrt(2 * Math.Max(0, tank.Litres) / tank.Capacity);
        var growing = _faults.Find(FaultKind.GrowingLeak, id) is { } leak ? leak.EffectiveSize * (now - leak.From).TotalDays / 7 : 0;
        return steady + orifice + growing;
    }

    private double ShareLeft(string pump, DateTimeOffset now)
    {
        var share = _faults.Find(FaultKind.WeakPump, pump)?.EffectiveSize ?? 1;
        share *= _faults.Find(FaultKind.BlockedRiser, pump)?.EffectiveSize ?? 1;
        return _faults.Find(FaultKind.PumpDecline, pump) is { } decline
            ? share * Math.Max(WeakestShare, 1 - (decline.EffectiveSize * (now - decline.From).TotalDays))
            : share;
    }

    /// <summary>A motor that moves no water takes about half its rated input; an overloaded one half as much again.</summary>
    private double InputWatts(PumpWater pump, double speed)
    {
        var load = 0.5 + (0.45 * Math.Min(1, pump.Delivery / pump.NominalLitresPerSecond));
        var strain = _faults.Has(FaultKind.Overload, pump.Plan.Id.Value) ? 1.5 : 1;
        return (pump.Plan.RatedWatts ?? 0) * load * strain * speed * speed * speed;
    }

    private double SuppliedTo(TankWater sump)
    {
        var returned = 0.0;
        foreach (var pump in Pumps)
        {
            returned += pump.Plan.From == sump.Plan.Index ? pump.BackDrain : 0;
        }

        return sump.Plan.Role is TankRole.Sump ? sump.In - returned : 0;
    }

    private double Stored() => Tanks.Sum(t => t.Litres) + Pumps.Sum(p => p.RiserLitres);

    private static double InitialLitres(Tank tank, SimulationOptions options, SeededStream random)
    {
        var top = tank.Probes.Length > 0 ? tank.Probes[^1].Volume.Value : 0.9 * tank.Capacity.Value;
        var chosen = top * random.Between(0.6, 0.95);
        return options.InitialLitres.TryGetValue(tank.Id.Value, out var given) ? given : chosen;
    }
}
