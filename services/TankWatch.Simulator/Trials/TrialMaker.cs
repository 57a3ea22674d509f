using System.Collections.Immutable;
using System.Globalization;

namespace TankWatch.Simulator.Trials;

/// <summary>Makes a trial from a seed: a building, what is true of it, and what is done to it.</summary>
public static class TrialMaker
{
    // Days' use that the public supply would give a day: what is done to a trial must not also empty its sump.
    private const double Plentiful = 3;

    /// <param name="seed">The same seed and sort give the same trial.</param>
    /// <param name="sort">What is to be done to it.</param>
    public static Trial Make(ulong seed, TrialSort sort)
    {
        var random = new SeededStream(seed, $"trial/{sort}");
        var name = string.Create(CultureInfo.InvariantCulture, $"{Hyphenated(sort)}-{seed}");
        var site = new TrialSite(random, name, probesClose: sort is TrialSort.ShortCycling, needsSump: sort is TrialSort.SupplyFailure);
        var plan = site.Read();
        var hours = random.Chance(0.8) ? site.ChooseSupply() : [];
        var options = new SimulationOptions
        {
            Seed = seed,
            Start = site.Start,
            Tick = TimeSpan.FromMinutes(5), // In half the time, and the truth is what flowed.
            LitresPerPersonPerDay = site.LitresPerDay / site.Residents,
            Use = site.ChooseUse(),
            TrueLitresPerMinute = ImmutableDictionary<string, double>.Empty.Add("p1", site.LitresPerMinute),
            SupplyHours = hours,
            PublicSupplyLitresPerMinute = sort is TrialSort.SupplyFailure ? null : Plentiful * site.LitresPerDay / TrialSite.MinutesOf(hours),
            ShutOffOverLift = random.Between(1.6, 2.6),
            RiserEntersBelow = sort is TrialSort.BackDrain || random.Chance(0.5),
            ProbeErrorMillimetres = random.Chance(0.5) ? 0 : random.Between(1, 5),
            ProbeOffsetMillimetres = sort is TrialSort.ProbeOff ? ChooseOffset(plan.FindTank(site.Tanks[0])!, random) : ImmutableDictionary<string, double>.Empty,
            RippleShare = random.Between(0, 0.05),
            UnitsMeasureVolts = sort is TrialSort.LowVoltage || random.Chance(0.5),
            VoltageSpread = random.Between(0, 3),
            UnderVoltage = 165,
        };
        var days = (int)random.Between(34, 61);
        var trial = new Trial(seed, sort, site.File, plan, options, [], days, site.LitresPerDay);
        return trial with { Events = [.. new TrialEvents(trial, random).Of(sort).OrderBy(e => e.Onset)] };
    }

    private static ImmutableDictionary<string, double> ChooseOffset(Core.Sites.Tank tank, SeededStream random)
    {
        var probe = tank.Probes[(int)random.Between(0, tank.Probes.Length)];
        return ImmutableDictionary<string, double>.Empty.Add($"{tank.Id}/{probe.Name}", random.Between(20, 30) * (random.Chance(0.5) ? 1 : -1));
    }

    private static string Hyphenated(TrialSort sort) =>
        string.Concat(sort.ToString().Select((c, i) => char.IsUpper(c) ? (i == 0 ? "" : "-") + char.ToLowerInvariant(c) : c.ToString()));
}
