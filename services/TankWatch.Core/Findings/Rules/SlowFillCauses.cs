using System.Collections.Immutable;
using TankWatch.Core.Balance;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Findings.Rules;

/// <summary>Weighs why fills have become slow.</summary>
internal static class SlowFillCauses
{
    private const string LowVoltage = "low-voltage";
    private const double Telling = 0.8, OfLowVoltage = 0.9;

    /// <returns>Most telling first; undetermined comes first while no cause stands out.</returns>
    public static ImmutableArray<WeighedCause> Of(in RuleContext context, Pump pump)
    {
        if (context.Timeline.Pumps[pump.Index].IsLowVoltage)
        {
            return [new(LowVoltage, OfLowVoltage), new(Asking.Undetermined, 1 - OfLowVoltage)];
        }

        var causes = ImmutableArray<WeighedCause>.Empty;
        foreach (var tank in pump.To)
        {
            var told = context.Timeline.Tanks[tank].Balance is { } balance ? Told(balance) : [];
            causes = causes.IsEmpty || (!told.IsEmpty && told[0].Probability > causes[0].Probability) ? told : causes;
        }

        var open = new WeighedCause(Asking.Undetermined, Math.Round(Math.Max(0, 1 - causes.Sum(cause => cause.Probability)), 3));
        var stands = !causes.IsEmpty && causes[0].Probability >= Telling;
        return stands ? [.. causes, .. open.Probability > 0 ? [open] : Array.Empty<WeighedCause>()] : [open, .. causes];
    }

    private static ImmutableArray<WeighedCause> Told(TankBalance balance)
    {
        if ((balance.Delivery ?? balance.Outflow ?? balance.Use) is { } found)
        {
            return found.Causes;
        }

        if (balance is not { Filter: { } filter, Onsets.IsEmpty: false })
        {
            return [];
        }

        Span<Explanation> explanations = stackalloc Explanation[Changes.Count];
        Weighing.All(balance.Onsets.AsSpan(), filter, balance.Doubt, filter.LastTicks, explanations);
        return BalanceChanges.Causes(explanations);
    }
}
