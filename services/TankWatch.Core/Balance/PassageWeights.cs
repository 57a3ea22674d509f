using TankWatch.Core.Sites;

namespace TankWatch.Core.Balance;

/// <summary>What a passage tells of: the gain of the tank as a weighted sum of the unknowns, and what else makes it vary.</summary>
internal ref struct PassageWeights
{
    /// <summary>One weight for each unknown of the filter.</summary>
    public Span<float> Weights;

    /// <summary>The unknowns whose weight is not zero, ascending.</summary>
    public Span<int> Used;

    /// <summary>Hours of the passage in each hour of the local day.</summary>
    public Span<float> HoursOfDay;

    /// <summary>What people draw in it, litres.</summary>
    public double Use;

    /// <summary>How the tank's content changed, litres.</summary>
    public double Gain;

    /// <summary>Variance of the gain that no unknown explains, litres squared.</summary>
    public double Noise;

    /// <summary>The gain to be expected, litres.</summary>
    public double Expected;

    /// <param name="filter">What is believed.</param>
    /// <param name="passage">What was seen.</param>
    /// <param name="tank">Where.</param>
    /// <param name="zone">Of the site.</param>
    /// <param name="scale">How large draws are against what is taken for granted; steady use has none that could be under way.</param>
    /// <param name="weights">Room for one number an unknown.</param>
    /// <param name="used">Room for one index an unknown.</param>
    /// <param name="hoursOfDay">Room for 24 numbers.</param>
    public static PassageWeights Of(
        BalanceFilter filter, in Passage passage, Tank tank, TimeZoneInfo zone, double scale, Span<float> weights, Span<int> used, Span<float> hoursOfDay)
    {
        var view = new PassageWeights { Weights = weights, HoursOfDay = hoursOfDay };
        weights.Clear();
        hoursOfDay.Clear();
        view.Gain = tank.Probes[passage.To].Volume.Value - tank.Probes[passage.From].Volume.Value;
        var level = Math.Max(BalanceModel.LowestLevel, 1 + filter.Mean[BalanceFilter.Slow] + filter.Mean[BalanceFilter.Fast]);
        view.DrawAt(filter, passage.Start, passage.End, zone, level);
        weights[BalanceFilter.Slow] = weights[BalanceFilter.Fast] = (float)-view.Use;
        view.Use *= level;
        weights[BalanceFilter.Leak] = (float)(-passage.Hours * Depth(tank, passage));
        weights[BalanceFilter.BackDrain] = (float)-Math.Max(0, passage.Hours - passage.OnHours);
        var inflow = 0.0;
        for (var c = 0; c < filter.Columns; c++)
        {
            weights[BalanceFilter.Inflow + c] = (float)passage.On[c];
            inflow += passage.On[c] * filter.Mean[BalanceFilter.Inflow + c];
        }

        view.Offset(filter, passage.From, -1, tank);
        view.Offset(filter, passage.To, 1, tank);
        view.Used = view.NotZero(used);
        view.Expected = view.Sum(filter, inflow) + (StillToCome(passage) * scale);
        view.Noise = NoiseOf(view.Use, inflow, tank, passage.LowVoltage || passage.On.Ways > 1);
        return view;
    }

    /// <summary>A sum over the unknowns with these weights.</summary>
    public readonly double Times(ReadOnlySpan<float> unknowns)
    {
        var sum = 0.0;
        foreach (var i in Used)
        {
            sum += Weights[i] * unknowns[i];
        }

        return sum;
    }

    private void DrawAt(BalanceFilter filter, DateTimeOffset start, DateTimeOffset end, TimeZoneInfo zone, double level)
    {
        var least = BalanceModel.LowestHour * filter.MeanUse;
        foreach (var part in new LocalHours(zone, start, end))
        {
            var litres = Math.Max(filter.Mean[part.Hour], least) * part.Length;
            var factor = 1.0;
            if (part.IsWeekend)
            {
                var block = BalanceFilter.WeekendOf(part.Hour);
                factor = Math.Max(0, 1 + filter.Mean[block]);
                Weights[block] -= (float)(litres * level);
            }

            HoursOfDay[part.Hour] += (float)part.Length;
            Weights[part.Hour] -= (float)(part.Length * level * factor);
            Use += litres * factor;
        }
    }

    private readonly void Offset(BalanceFilter filter, int probe, int sign, Tank tank)
    {
        if (probe > 0 && probe < tank.Probes.Length - 1)
        {
            Weights[filter.Probe(probe - 1)] += sign;
        }
    }

    private readonly Span<int> NotZero(Span<int> used)
    {
        var count = 0;
        for (var i = 0; i < Weights.Length; i++)
        {
            if (Weights[i] != 0)
            {
                used[count++] = i;
            }
        }

        return used[..count];
    }

    private readonly double Sum(BalanceFilter filter, double inflow)
    {
        // Use is a product of hours and levels, so it is not the weighted sum itself.
        var sum = inflow - Use;
        foreach (var i in Used)
        {
            if (i is BalanceFilter.Leak or BalanceFilter.BackDrain || i >= BalanceFilter.Inflow + filter.Columns)
            {
                sum += Weights[i] * filter.Mean[i];
            }
        }

        return sum;
    }

    /// <summary>Content against the middle of the probes, to a power between a hole's and a tap's.</summary>
    private static double Depth(Tank tank, in Passage passage)
    {
        var middle = tank.Probes[0].Volume.Value + tank.Probes[^1].Volume.Value;
        var here = tank.Probes[passage.From].Volume.Value + tank.Probes[passage.To].Volume.Value;
        return Math.Pow(here / middle, BalanceModel.LeakExponent);
    }

    /// <remarks>
    /// A passage that begins with a falling surface begins in a draw, the rest of which adds to its use; one that ends so leaves the rest
    /// of a draw to the next. While a pump fills, a crossing says nothing of draws but that they were weaker than the pump.
    /// </remarks>
    private static double StillToCome(in Passage passage) =>
        BalanceModel.StillToCome * (1 - Math.Exp(-passage.Hours / BalanceModel.DrawHours)) * ((passage.ToFalling ? 1 : 0) - (passage.FromFalling ? 1 : 0));

    private static double NoiseOf(double use, double inflow, Tank tank, bool isUnsteady)
    {
        const double LeastUse = 2; // Litres: a passage of no time is still a draw that may or may not have begun.
        var crossing = BalanceModel.CrossingSpread * tank.Capacity.Value;
        var own = BalanceModel.OwnSpread * use;
        var run = (isUnsteady ? BalanceModel.UnsteadySpread : BalanceModel.RunSpread) * inflow;
        return (BalanceModel.DrawLitres * Math.Max(use, LeastUse)) + (own * own) + (run * run) + (2 * crossing * crossing);
    }
}
