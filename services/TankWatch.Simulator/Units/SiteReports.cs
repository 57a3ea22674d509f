using TankWatch.Simulator.Control;
using TankWatch.Simulator.Use;
using TankWatch.Simulator.Water;

namespace TankWatch.Simulator.Units;

/// <summary>Which unit says what, and when: on each change, on connecting, and levels once an hour.</summary>
internal sealed class SiteReports(
    SimulatedUnit[] units, ProbeSet[] probes, PumpControl[] controls, Waterworks works, Mains mains, Agenda agenda, SimulationOptions options)
{
    private const long HourMs = 3_600_000;
    private const long LastGaspMs = 200; // A capacitor's worth: enough to say that the mains are gone.
    private const double VoltsWorthTelling = 15;

    private readonly bool[] _flowing = new bool[controls.Length];
    private bool _mainsTold = true;
    private bool _powerLost;
    private double _voltsTold = Mains.NominalVolts;

    public void Begin(long nowMs)
    {
        foreach (var unit in units)
        {
            unit.SayOnline(nowMs);
            TellAll(unit, nowMs, causesKnown: false);
            EachHour(unit, nowMs);
        }
    }

    public void Level(ProbeSet tank, long nowMs)
    {
        foreach (var unit in units)
        {
            if (unit.Plan.Tanks.Contains(tank.Plan.Index))
            {
                TellLevel(unit, tank, nowMs);
            }
        }
    }

    public void Pump(PumpControl pump, long nowMs)
    {
        foreach (var unit in units)
        {
            if (unit.Plan.Pumps.Contains(pump.Plan.Index))
            {
                TellPump(unit, pump, nowMs, pump.Cause);
            }
        }
    }

    /// <summary>Tells of every inlet that has become wet or dry.</summary>
    public void Inlets(long nowMs)
    {
        foreach (var pump in works.Pumps)
        {
            var index = pump.Plan.Index;
            if (pump.Plan.DryRunDetector && pump.InletFlowing != _flowing[index])
            {
                _flowing[index] = pump.InletFlowing;
                foreach (var unit in units.Where(u => u.Plan.Pumps.Contains(index)))
                {
                    TellInlet(unit, pump, nowMs);
                }
            }
        }
    }

    /// <summary>Tells of the mains when they have gone, come back, or moved far in voltage.</summary>
    public void Volts(long nowMs)
    {
        if (mains.On != _mainsTold || (mains.On && Math.Abs(mains.Volts - _voltsTold) > VoltsWorthTelling))
        {
            _mainsTold = mains.On;
            _voltsTold = mains.Volts;
            foreach (var unit in units.Where(u => u.Plan.Pumps.Length > 0))
            {
                TellSupply(unit, nowMs);
            }
        }
    }

    /// <summary>The field unit restarts; the pump's control, another box, does not.</summary>
    public void Restart(string id, long nowMs)
    {
        var unit = units.First(u => string.Equals(u.Plan.Id.Value, id, StringComparison.Ordinal));
        unit.Restart(nowMs);
        TellAll(unit, nowMs, causesKnown: false);
    }

    public void FollowFaults(long nowMs)
    {
        var cameBack = mains.On && !_mainsTold && _powerLost;
        var went = !mains.On && _mainsTold;
        if (cameBack)
        {
            _powerLost = false;
            _mainsTold = true;
            _voltsTold = mains.Volts;
            foreach (var unit in units)
            {
                unit.Restart(nowMs);
                TellAll(unit, nowMs, causesKnown: false);
            }
        }

        Volts(nowMs);
        if (went && !options.UnitsHaveBattery)
        {
            agenda.At(nowMs + LastGaspMs, () => LosePower(nowMs + LastGaspMs));
        }

        foreach (var unit in units)
        {
            if (unit.FollowLink(nowMs))
            {
                TellAll(unit, nowMs, causesKnown: true);
            }
        }
    }

    private void LosePower(long nowMs)
    {
        if (mains.On)
        {
            return; // A cut shorter than the last gasp is ridden through.
        }

        _powerLost = true;
        foreach (var unit in units)
        {
            unit.LosePower(nowMs);
        }
    }

    private void EachHour(SimulatedUnit unit, long nowMs) => agenda.At(nowMs + HourMs, () =>
    {
        foreach (var tank in unit.Plan.Tanks)
        {
            TellLevel(unit, probes[tank], nowMs + HourMs);
        }

        EachHour(unit, nowMs + HourMs);
    });

    /// <summary>The whole present state; a unit that has just started does not know why its pumps run or rest.</summary>
    private void TellAll(SimulatedUnit unit, long nowMs, bool causesKnown)
    {
        foreach (var tank in unit.Plan.Tanks)
        {
            TellLevel(unit, probes[tank], nowMs);
        }

        foreach (var pump in unit.Plan.Pumps)
        {
            TellPump(unit, controls[pump], nowMs, causesKnown ? controls[pump].Cause : PumpCause.Unknown);
            if (works.Pumps[pump].Plan.DryRunDetector)
            {
                TellInlet(unit, works.Pumps[pump], nowMs);
            }
        }

        if (unit.Plan.Pumps.Length > 0)
        {
            TellSupply(unit, nowMs);
        }
    }

    private static void TellLevel(SimulatedUnit unit, ProbeSet tank, long nowMs)
    {
        if (tank.Readings.Length > 0)
        {
            unit.Send("level", nowMs, stamp => FieldPayload.Level(stamp, tank.Plan.Id.Value, tank.Readings));
        }
    }

    private void TellPump(SimulatedUnit unit, PumpControl pump, long nowMs, string cause)
    {
        var watts = works.Pumps[pump.Plan.Index].Watts;
        var report = new PumpReport(pump.Plan.Id.Value, pump.Running, cause, pump.Manual, options.UnitsMeasureVolts ? mains.Volts : null, watts);
        unit.Send("pump", nowMs, stamp => FieldPayload.Pump(stamp, report));
    }

    private static void TellInlet(SimulatedUnit unit, PumpWater pump, long nowMs) =>
        unit.Send("inlet", nowMs, stamp => FieldPayload.Inlet(stamp, pump.Plan.Id.Value, pump.InletFlowing));

    private void TellSupply(SimulatedUnit unit, long nowMs)
    {
        if (options.UnitsMeasureVolts)
        {
            unit.Send("supply", nowMs, stamp => FieldPayload.Supply(stamp, mains.On, mains.Volts));
        }
    }
}
