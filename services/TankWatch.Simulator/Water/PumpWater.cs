using TankWatch.Core.Sites;

namespace TankWatch.Simulator.Water;

/// <summary>A pump and its riser. Litres and litres per second.</summary>
internal sealed class PumpWater
{
    // About 27 mm of pipe: 0.57 L a metre.
    private const double RiserLitresPerMetre = 0.57;
    private const double AssumedLiftMetres = 15;
    private const double AssumedLitresPerMinute = 50;
    private const double TrueShareOfRated = 0.7;

    private readonly double[] _shares;

    public PumpWater(Pump plan, SimulationOptions options, SeededStream random)
    {
        Plan = plan;
        LiftMetres = plan.StaticLiftMetres ?? AssumedLiftMetres;
        var litresPerMinute = options.TrueLitresPerMinute.TryGetValue(plan.Id.Value, out var given) ? given
            : plan.RatedDelivery is { } rated ? TrueShareOfRated * rated.Value
            : AssumedLitresPerMinute;
        NominalLitresPerSecond = litresPerMinute / 60;
        Curve = new PumpCurve(NominalLitresPerSecond, LiftMetres, plan.To.Length, options.ShutOffOverLift);
        RiserCapacity = plan.Riser?.Value ?? (RiserLitresPerMetre * LiftMetres);
        RiserLitres = RiserCapacity;
        _shares = [.. plan.To.Select(_ => random.Between(0.85, 1.15))]; // No two branches are alike.
    }

    public Pump Plan { get; }
    public PumpCurve Curve { get; }
    public double LiftMetres { get; }
    public double NominalLitresPerSecond { get; }
    public double RiserCapacity { get; }

    /// <summary>A detector at the inlet needs the inlet above the water; only a riser that enters below can drain its tank.</summary>
    public bool EntersAtTop => Plan.DryRunDetector;

    public bool Running { get; set; }
    public double RiserLitres { get; private set; }
    public bool RiserFull => RiserLitres >= RiserCapacity;
    public double Delivery { get; set; }
    public double BackDrain { get; set; }

    /// <summary>Falls into the tanks now; what only fills the riser does not count.</summary>
    public double IntoTanks { get; private set; }

    public double RiserNet { get; private set; }
    public double Watts { get; set; }
    public double DeliveredLitres { get; private set; }

    /// <summary>Back out of tanks through the pump.</summary>
    public double BackDrainedLitres { get; private set; }

    public double RunSeconds { get; private set; }
    public double Joules { get; private set; }
    public int Starts { get; set; }

    public bool InletFlowing => IntoTanks > 0;

    /// <summary>Gives what the riser does not need to the open tanks.</summary>
    public void Share(TankWater[] tanks)
    {
        IntoTanks = RiserFull ? Delivery : 0;
        RiserNet = Delivery - IntoTanks;
        var open = 0.0;
        for (var i = 0; i < _shares.Length; i++)
        {
            open += IsOpen(tanks[Plan.To[i]]) ? _shares[i] : 0;
        }

        for (var i = 0; i < _shares.Length && IntoTanks > 0; i++)
        {
            var tank = tanks[Plan.To[i]];
            tank.In += IsOpen(tank) ? IntoTanks * _shares[i] / open : 0;
        }
    }

    /// <summary>A riser to one tank has no float valve: its control stops it, or the tank overflows.</summary>
    public bool IsOpen(TankWater tank) => Plan.To.Length == 1 || !tank.FloatClosed;

    public void DrainRiser(double litresPerSecond)
    {
        BackDrain = RiserLitres > 0 ? litresPerSecond : 0;
        RiserNet = -BackDrain;
    }

    public void Rest()
    {
        Delivery = 0;
        BackDrain = 0;
        IntoTanks = 0;
        RiserNet = 0;
    }

    public void Pass(double seconds)
    {
        RiserLitres += RiserNet * seconds;
        DeliveredLitres += IntoTanks * seconds;
        BackDrainedLitres += EntersAtTop ? 0 : BackDrain * seconds;
        RunSeconds += Running ? seconds : 0;
        Joules += Running ? Watts * seconds : 0;
    }

    public double SecondsToMark() => RiserNet switch
    {
        > 0 => (RiserCapacity - RiserLitres) / RiserNet,
        < 0 => RiserLitres / -RiserNet,
        _ => double.PositiveInfinity,
    };
}
