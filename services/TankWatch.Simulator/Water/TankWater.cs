using TankWatch.Core.Sites;

namespace TankWatch.Simulator.Water;

/// <summary>The water of one tank: its volume, and the flows in and out that hold until the next event. Litres and litres per second.</summary>
internal sealed class TankWater
{
    private const double ReopenShare = 0.02;
    private const double FootValveShare = 0.02;

    private readonly double _floatOpens;
    private readonly double _footValveCovered;

    public TankWater(Tank plan, double litres)
    {
        Plan = plan;
        Litres = litres;
        Capacity = plan.Capacity.Value;
        var top = plan.Probes.Length > 0 ? Math.Min(plan.Probes[^1].Volume.Value, Capacity) : Capacity * 0.9;
        FloatCloses = top + (0.5 * (Capacity - top));
        _floatOpens = FloatCloses - (ReopenShare * Capacity);
        FootValve = FootValveShare * Capacity;
        _footValveCovered = 1.5 * FootValve;
    }

    public Tank Plan { get; }
    public double Capacity { get; }
    public double Litres { get; private set; }

    /// <summary>The float valve closes halfway from the top probe to the brim, so that a full tank has its top probe wet.</summary>
    public double FloatCloses { get; }

    /// <summary>Below this the suction draws air.</summary>
    public double FootValve { get; }

    public bool FloatClosed { get; private set; }
    public bool SuctionDry { get; private set; }

    public double In { get; set; }
    public double Use { get; set; }
    public double Leak { get; set; }
    public double Drain { get; set; }
    public double Pumped { get; set; }
    public double BackDrain { get; set; }
    public double Overflow { get; private set; }
    public double Net { get; private set; }

    public void MoveValves()
    {
        FloatClosed = Litres >= FloatCloses || (FloatClosed && Litres > _floatOpens);
        SuctionDry = Litres <= FootValve || (SuctionDry && Litres < _footValveCovered);
    }

    /// <summary>Holds the flows to what an empty or a brimming tank allows.</summary>
    public void Balance()
    {
        var wanted = Use + Leak + Drain;
        var spare = In - Pumped - BackDrain;
        Overflow = 0;
        if (Litres <= 0 && spare < wanted)
        {
            var share = wanted > 0 ? Math.Max(0, spare) / wanted : 0;
            Use *= share;
            Leak *= share;
            Drain *= share;
            wanted *= share;
        }
        else if (Litres >= Capacity && spare > wanted)
        {
            Overflow = spare - wanted;
        }

        Net = spare - wanted - Overflow;
    }

    public void Pass(double seconds) => Litres += Net * seconds;

    /// <summary>Seconds until the volume meets the nearest of the tank's own marks; infinite if it meets none.</summary>
    public double SecondsToMark()
    {
        var nearest = double.PositiveInfinity;
        ReadOnlySpan<double> marks = [0, FootValve, _footValveCovered, _floatOpens, FloatCloses, Capacity];
        foreach (var mark in marks)
        {
            nearest = Math.Min(nearest, SecondsTo(mark));
        }

        return nearest;
    }

    /// <returns>Infinite when the surface stands still, or moves away from that volume.</returns>
    public double SecondsTo(double litres)
    {
        var seconds = (litres - Litres) / Net;
        return seconds > 0 ? seconds : double.PositiveInfinity;
    }
}
