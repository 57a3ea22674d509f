using System.Runtime.InteropServices;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Balance;

/// <summary>What one passage amounted to.</summary>
/// <param name="Tank">Index of the tank.</param>
/// <param name="Passage">The passage.</param>
/// <param name="Used">Water that left the tank in it, litres.</param>
/// <param name="Common">Spread of that which all passages share: of the delivery. Litres.</param>
/// <param name="Variance">Of that besides, litres squared.</param>
internal readonly record struct Accounted(int Tank, Passage Passage, double Used, double Common, double Variance);

/// <summary>Learns from passages: what is believed, and whether something changed.</summary>
internal static class BalanceStep
{
    private const double WildestKept = 6, Impossible = 150, NarrowDraws = 8, DaysApart = 4, LargestDraws = 2;
    public const int OnsetsAtMost = 17;
    private static readonly long BetweenOnsets = TimeSpan.FromHours(6).Ticks, OldestOnset = TimeSpan.FromDays(40).Ticks;

    /// <summary>Takes the next passage in.</summary>
    /// <param name="balance">Of the tank.</param>
    /// <param name="passage">Not before those already taken.</param>
    /// <param name="tank">The tank.</param>
    /// <param name="columns">Ways in.</param>
    /// <param name="plan">What is installed.</param>
    public static TankBalance Learn(TankBalance balance, in Passage passage, Tank tank, int columns, SitePlan plan)
    {
        if (balance.Filter is not null)
        {
            return Take(balance, passage, tank, plan);
        }

        var first = balance.First.Add(passage);
        if (first.Length < BalanceModel.FirstPassages || BalanceStart.From(first, tank, columns) is not { } filter)
        {
            // What cannot be started from (no draw, no fill) makes room for what may.
            return balance with { First = first.Length < 2 * BalanceModel.FirstPassages ? first : first.RemoveAt(0) };
        }

        balance = balance with { First = [], Filter = filter };
        foreach (var earlier in first)
        {
            balance = Take(balance, earlier, tank, plan);
        }

        return balance;
    }

    private static TankBalance Take(TankBalance balance, in Passage passage, Tank tank, SitePlan plan)
    {
        var filter = balance.Filter!.Copy();
        var middle = passage.Start.UtcTicks + ((passage.End.UtcTicks - passage.Start.UtcTicks) / 2);
        var hours = filter.LastTicks == 0 ? 0 : Math.Max(0, (middle - filter.LastTicks) / (double)TimeSpan.TicksPerHour);
        filter.LastTicks = middle;
        var left = filter.Pass(hours);
        var view = PassageWeights.Of(
            filter, passage, tank, plan.TimeZone, IsWide(tank) ? Math.Min(balance.Scale, LargestDraws) : 1, stackalloc float[filter.Count], stackalloc int[filter.Count], stackalloc float[BalanceModel.Hours]);
        Span<float> gain = stackalloc float[filter.Count];
        filter.Gain(view.Weights, gain);
        var (surprise, variance) = (view.Gain - view.Expected, view.Noise + view.Times(gain));
        var wildness = surprise * surprise / variance;
        if (wildness > Impossible * Math.Max(1, balance.Scale))
        {
            // No draw and no pump makes this: a reading that lies teaches nothing. Time has passed all the same.
            return balance with { Filter = filter };
        }

        var onsets = OnsetsAt(balance, passage, filter, IsWide(tank) ? MostOnsets(plan) : 0);
        var lesson = new Lesson
        {
            Weights = view.Weights, Used = view.Used, Gain = gain, Inflows = filter.Mean.AsSpan(BalanceFilter.Inflow, filter.Columns),
            Surprise = surprise, Variance = variance, Lasted = passage.Hours, Hours = hours, LeftSlow = left.Slow, LeftFast = left.Fast,
        };
        Onset.After(onsets, filter.Count, lesson);

        filter.Correct(gain, surprise, variance);
        var witness = new Witness(
            passage.Start.UtcTicks, passage.End.UtcTicks, (byte)passage.From, (byte)passage.To, passage.OnHours > passage.Hours / 2,
            (float)view.Gain, (float)view.Expected, (float)Math.Sqrt(variance));
        var weight = balance.ScaleWeight;
        var next = balance with
        {
            Filter = filter,
            Passages = balance.Passages + 1,
            Scale = ((balance.Scale * weight) + Math.Min(wildness, WildestKept)) / (weight + 1),
            ScaleWeight = Math.Min(weight + 1, 150),
            Onsets = ImmutableCollectionsMarshal.AsImmutableArray(onsets),
            Witnesses = balance.Witnesses.Length < TankBalance.WitnessesKept ? balance.Witnesses.Add(witness) : [.. balance.Witnesses.AsSpan()[1..], witness],
        };

        // In the middle of a fill its end is minutes away, and weighing everything costs as much as learning it.
        var isMidFill = !passage.ToFalling && passage.To < tank.Probes.Length - 1;
        return isMidFill ? next : BalanceChanges.Settle(next, passage.End, hours);
    }

    /// <summary>Between probes that stand closer than a few draws, what is left of one draw and begun of the next is all that is seen.</summary>
    private static bool IsWide(Tank tank) => tank.Probes[^1].Volume.Value - tank.Probes[0].Volume.Value >= NarrowDraws * BalanceModel.DrawLitres || tank.Probes.Length == 1;

    /// <summary>Two tanks share what one may take: see <see cref="TankBalance"/>.</summary>
    private static int MostOnsets(SitePlan plan)
    {
        var tanks = 0;
        foreach (var tank in plan.Tanks)
        {
            tanks += tank.Role == TankRole.Overhead ? 1 : 0;
        }

        return Math.Max(7, OnsetsAtMost / Math.Max(1, tanks));
    }

    /// <returns>Those not too old, with one for now if the newest is old enough; close to now they stand close together.</returns>
    private static Onset[] OnsetsAt(TankBalance balance, in Passage passage, BalanceFilter filter, int most)
    {
        var start = passage.Start.UtcTicks;
        var known = balance.Onsets.AsSpan();
        while (!known.IsEmpty && start - known[0].Ticks >= OldestOnset)
        {
            known = known[1..];
        }

        var begins = most > 0 && balance.Passages >= BalanceModel.EnoughPassages && (known.IsEmpty || start - known[^1].Ticks >= BetweenOnsets);
        if (!begins)
        {
            return known.Length > most ? Without(known, LeastMissed(known, start)) : known.ToArray();
        }

        Onset[] all = [.. known, Onset.Begin(start, filter)];
        return all.Length > most ? Without(all, LeastMissed(all, start)) : all;
    }

    private static Onset[] Without(ReadOnlySpan<Onset> onsets, int index) => [.. onsets[..index], .. onsets[(index + 1)..]];

    private static int LeastMissed(ReadOnlySpan<Onset> onsets, long now)
    {
        var (least, share) = (1, double.MaxValue);
        for (var i = 1; i < onsets.Length - 1; i++)
        {
            // Evenly in proportion to the age for a few days, wider beyond: what began long ago is not in doubt of hours.
            var age = Math.Max(1, now - onsets[i].Ticks) / (double)TimeSpan.TicksPerDay;
            var gap = (onsets[i + 1].Ticks - onsets[i - 1].Ticks) / (age * (1 + (age / DaysApart)));
            (least, share) = gap < share ? (i, gap) : (least, share);
        }

        return least;
    }
}
