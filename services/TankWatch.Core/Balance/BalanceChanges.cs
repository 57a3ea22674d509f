using System.Collections.Immutable;
using TankWatch.Core.Findings;

namespace TankWatch.Core.Balance;

/// <summary>Decides when a change is sure enough to be believed, and makes it part of what is believed.</summary>
/// <remarks>
/// Once believed, a change no longer disturbs what is learnt after it, and the search begins anew: for its end, and for others besides it.
/// Of changes that cannot be told apart yet the mixture is believed, so that later passages go on weighing them.
/// </remarks>
internal static class BalanceChanges
{
    // How sure: of anything having changed at all, and of which it is.
    private const double Sure = 0.99, SureOfUse = 0.95;

    // That water leaves, and which way, has to be the surer, the less it has cost so far: litres lost.
    private const double LeastSure = 0.93, SureOfKind = 0.95, LeastSureOfKind = 0.57, LittleLost = 1500, MuchLost = 4000;
    private const double LeastLoss = 0.03, LeastStep = 0.04, LargeLoss = 0.15, MostFills = 0.75, ShortestHours = 24, ShortHours = 48, SurprisingBriefly = 5;

    // A habit shows at its hours and fades from sight until the next day: what it might have been is remembered for about as long.
    private const double MostHabit = 0.35, DoubtHours = 24, MostlySeen = 0.9;
    private const int FillsToTellLarge = 2, FillsToTell = 5;

    // An outflow this much smaller than it was found is over; more use is over no sooner than it could be seen, and is the usual one at last.
    private const double EndedShare = 0.3;
    private static readonly TimeSpan UsualAfter = TimeSpan.FromDays(14), AtLeast = TimeSpan.FromDays(1);

    /// <param name="balance">With the passage learnt.</param>
    /// <param name="now">Its end.</param>
    /// <param name="hours">Since the passage before.</param>
    public static TankBalance Settle(TankBalance balance, DateTimeOffset now, double hours)
    {
        balance = Ended(balance, now);
        balance = balance.HabitDoubt == 0 ? balance : balance with { HabitDoubt = balance.HabitDoubt * Math.Exp(-hours / DoubtHours) };
        if (!Weighing.IsWorthwhile(balance.Onsets.AsSpan(), balance.Doubt))
        {
            return balance;
        }

        Span<Explanation> explanations = stackalloc Explanation[Changes.Count];
        Weighing.All(balance.Onsets.AsSpan(), balance.Filter!, balance.Doubt, now.UtcTicks, explanations);
        Span<double> shares = stackalloc double[Changes.Count];
        Shares(explanations, shares);
        var (leak, back) = (shares[(int)Change.Leak] + shares[(int)Change.GrowingLeak], shares[(int)Change.BackDrain]);
        var delivery = shares[(int)Change.Delivery] + shares[(int)Change.Decline];
        var habits = shares[(int)Change.EveningHabit] + shares[(int)Change.NightHabit] + shares[(int)Change.DawnHabit];
        var leaving = leak + back + habits;
        balance = habits > balance.HabitDoubt ? balance with { HabitDoubt = habits } : balance;
        if (leaving > LeastSure && balance.HabitDoubt < MostHabit * leaving && Outflow(balance, explanations, leak, back, leaving, now) is { } outflow)
        {
            return Believe(balance, explanations, shares, outflow, Changes.IsOutflow, now);
        }

        if (delivery > Sure && Delivered(balance, explanations, now) is { } delivered)
        {
            return Believe(balance, explanations, shares, delivered, change => change == delivered, now);
        }

        foreach (var change in (ReadOnlySpan<Change>)[Change.Use, Change.EveningHabit, Change.NightHabit, Change.DawnHabit])
        {
            if (shares[(int)change] > SureOfUse)
            {
                return Believe(balance, explanations, shares, change, one => one == change, now);
            }
        }

        return balance;
    }

    /// <summary>Probabilities of the changes; what they leave of one is that of nothing having changed.</summary>
    /// <param name="explanations">One a change.</param>
    /// <param name="shares">Receives as many.</param>
    /// <param name="power">On the odds.</param>
    internal static void Shares(ReadOnlySpan<Explanation> explanations, Span<double> shares, double power = 1)
    {
        var most = 0.0;
        foreach (var explanation in explanations)
        {
            most = Math.Max(most, power * explanation.LogOdds);
        }

        var sum = Math.Exp(-most);
        for (var i = 0; i < shares.Length; i++)
        {
            shares[i] = Math.Exp((power * explanations[i].LogOdds) - most);
            sum += shares[i];
        }

        for (var i = 0; i < shares.Length; i++)
        {
            shares[i] /= sum;
        }
    }

    private static Change? Outflow(TankBalance balance, ReadOnlySpan<Explanation> explanations, double leak, double back, double leaving, DateTimeOffset now)
    {
        var leaks = explanations[(int)Change.GrowingLeak].LogOdds > explanations[(int)Change.Leak].LogOdds ? Change.GrowingLeak : Change.Leak;
        var change = leak >= back ? leaks : Change.BackDrain;
        var told = explanations[(int)change];
        var hours = balance.Onsets[told.Onset].SeenHours;
        var lost = change == Change.GrowingLeak ? told.Size * hours * hours / 48 : told.Size * hours;
        // After a silence the fills that tell one outflow from another are missing: nothing is taken on the prior alone then.
        var wasSilent = hours < MostlySeen * (now - balance.Onsets[told.Onset].At).TotalHours;
        var waited = wasSilent ? 0 : Math.Clamp((lost - LittleLost) / (MuchLost - LittleLost), 0, 1);
        var sure = leaving >= Sure - ((Sure - LeastSure) * waited);
        var kind = Math.Max(leak, back) >= leaving * (SureOfKind - ((SureOfKind - LeastSureOfKind) * waited));
        return sure && kind && IsLongEnough(balance, told, now) ? change : null;
    }

    /// <summary>A day or two may be odd in many ways that no list of changes has: more is asked of them, and a night and a day have to be seen.</summary>
    private static bool IsLongEnough(TankBalance balance, in Explanation explanation, DateTimeOffset now)
    {
        var hours = (now - balance.Onsets[explanation.Onset].At).TotalHours;
        return hours >= ShortHours || (hours >= ShortestHours && Math.Abs(explanation.Size) / explanation.Spread >= SurprisingBriefly);
    }

    private static Change? Delivered(TankBalance balance, ReadOnlySpan<Explanation> explanations, DateTimeOffset now)
    {
        var (step, decline) = (explanations[(int)Change.Delivery], explanations[(int)Change.Decline]);
        if (step.LogOdds < decline.LogOdds)
        {
            var lost = decline.Size * (now - balance.Onsets[decline.Onset].At).TotalDays;
            return -lost >= LeastLoss ? Change.Decline : null;
        }

        var size = Math.Abs(step.Size);
        var (fills, showing) = FillsSince(balance, balance.Onsets[step.Onset].Ticks, step.Size);
        var enough = fills >= (size >= LargeLoss ? FillsToTellLarge : FillsToTell) && showing >= MostFills * fills;
        return size >= LeastStep && enough ? Change.Delivery : null;
    }

    /// <returns>Fills since then, and those that show at least a third of the change: one burst of draws makes one fill slow, not all.</returns>
    private static (int Fills, int Showing) FillsSince(TankBalance balance, long ticks, double size)
    {
        const double Third = 1.0 / 3;
        var (fills, showing, seen, expected, filling) = (0, 0, 0.0, 0.0, false);
        foreach (var witness in balance.Witnesses)
        {
            if (filling && !witness.Filling)
            {
                (fills, showing) = (fills + 1, showing + (Shows() ? 1 : 0));
            }

            filling = witness.Filling && witness.Start >= ticks;
            (seen, expected) = filling ? (seen + witness.Gain, expected + witness.Expected) : (0, 0);
        }

        return filling ? (fills + 1, showing + (Shows() ? 1 : 0)) : (fills, showing);

        bool Shows() => (seen - expected) * Math.Sign(size) >= Third * Math.Abs(size) * expected;
    }

    private static TankBalance Believe(
        TankBalance balance, ReadOnlySpan<Explanation> explanations, ReadOnlySpan<double> shares, Change change, Func<Change, bool> together,
        DateTimeOffset now)
    {
        var filter = balance.Filter!.Copy();
        var onset = balance.Onsets[explanations[(int)change].Onset];
        var before = change < Changes.FirstOfDelivery && !Changes.IsOutflow(change) ? Level(filter) : 0;
        Mixture.Believe(filter, balance, explanations, shares, together);
        var found = new Found(
            change, onset.At, now, explanations[(int)change].Size, explanations[(int)change].Spread, Causes(explanations), before);
        var next = balance with { Filter = filter, Onsets = [], Passages = 0 };
        return change switch
        {
            Change.Leak or Change.GrowingLeak or Change.BackDrain => next with { Outflow = balance.Outflow ?? found },
            Change.Delivery or Change.Decline => Deliver(next, found),
            _ when found.Size > 0 => next with { Use = found },
            _ => next with { Use = null },
        };
    }

    private static TankBalance Deliver(TankBalance next, Found found)
    {
        var usual = next.UsualDelivery > 0 ? next.UsualDelivery : Delivery(next.Filter!) / (1 + Loss(found));
        var isWeak = Delivery(next.Filter!) < usual * (1 - LeastLoss);
        return next with
        {
            UsualDelivery = isWeak ? usual : 0,
            Delivery = isWeak ? next.Delivery ?? found : null,
        };
    }

    private static double Loss(Found found) =>
        Math.Max(-0.9, found.Change == Change.Decline ? found.Size * (found.At - found.Since).TotalDays : found.Size);

    /// <summary>What was found and is over.</summary>
    private static TankBalance Ended(TankBalance balance, DateTimeOffset now)
    {
        var filter = balance.Filter!;
        if (balance.Outflow is not null && filter.Mean[BalanceFilter.Leak] + filter.Mean[BalanceFilter.BackDrain] < EndedShare * OutflowAtFirst(balance))
        {
            var dry = filter.Copy();
            Clear(dry, BalanceFilter.Leak);
            Clear(dry, BalanceFilter.BackDrain);
            balance = balance with { Filter = dry, Outflow = null, Onsets = [], Passages = 0 };
        }

        if (balance.Use is { } use && (now - use.At > UsualAfter || (now - use.At > AtLeast && IsOver(use, filter))))
        {
            balance = balance with { Use = null };
        }

        return balance;
    }

    private static double OutflowAtFirst(TankBalance balance) => balance.Outflow!.Change == Change.GrowingLeak
        ? balance.Outflow.Size * (balance.Outflow.At - balance.Outflow.Since).TotalDays
        : balance.Outflow.Size;

    private static bool IsOver(Found use, BalanceFilter filter) =>
        use.Change == Change.Use && Level(filter) - use.Before < use.Size / 2;

    private static void Clear(BalanceFilter filter, int unknown)
    {
        filter.Mean[unknown] = 0;
        for (var i = 0; i < filter.Count; i++)
        {
            filter.At(unknown, i) = 0;
        }
    }

    internal static double Delivery(BalanceFilter filter)
    {
        var sum = 0.0;
        for (var c = BalanceFilter.Inflow; c < BalanceFilter.Inflow + filter.Columns; c++)
        {
            sum += filter.Mean[c];
        }

        return sum;
    }

    internal static double Level(BalanceFilter filter) => filter.Mean[BalanceFilter.Slow] + filter.Mean[BalanceFilter.Fast];

    /// <summary>What it may be, most probable first, as people call it.</summary>
    /// <remarks>No list of changes is whole and no spread quite right: odds are told at two thirds of their logarithm, which trials bear out.</remarks>
    internal static ImmutableArray<WeighedCause> Causes(ReadOnlySpan<Explanation> explanations)
    {
        const double Told = 2.0 / 3, Surest = 0.99;
        Span<double> shares = stackalloc double[Changes.Count];
        Shares(explanations, shares, Told);
        var causes = new List<WeighedCause>();
        for (var i = 0; i < shares.Length; i++)
        {
            var name = NameOf(explanations[i].Change);
            var at = causes.FindIndex(cause => cause.Name == name);
            if (at < 0)
            {
                causes.Add(new(name, shares[i]));
            }
            else
            {
                causes[at] = new(name, causes[at].Probability + shares[i]);
            }
        }

        return
        [
            .. causes.Where(cause => cause.Probability >= 0.005).OrderByDescending(cause => cause.Probability)
                .ThenBy(cause => cause.Name, StringComparer.Ordinal).Select(cause => new WeighedCause(cause.Name, Math.Min(Surest, Math.Round(cause.Probability, 3)))),
        ];
    }

    internal static string NameOf(Change change) => change switch
    {
        Change.Leak => "leak",
        Change.GrowingLeak => "growing-leak",
        Change.BackDrain => "back-drain",
        Change.Use => "heavy-use",
        Change.Delivery or Change.Decline => "weak-pump",
        _ => "new-habit",
    };
}
