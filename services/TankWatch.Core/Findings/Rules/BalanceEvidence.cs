using System.Collections.Immutable;
using System.Globalization;
using TankWatch.Core.Balance;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Findings.Rules;

/// <summary>The passages a finding rests on, in words: what was expected, what was seen, and what else it could be.</summary>
internal static class BalanceEvidence
{
    private const int Shown = 4;
    private const double WorthNaming = 0.02;

    /// <summary>The passages since the onset that speak loudest for the change, in the order of time.</summary>
    /// <param name="context">The site.</param>
    /// <param name="tank">Index of the tank.</param>
    /// <param name="found">The change.</param>
    /// <param name="filling">Passages while a pump ran, or those while none did.</param>
    public static IEnumerable<string> Passages(RuleContext context, int tank, Found found, bool filling)
    {
        var plan = context.Plan;
        return context.Timeline.Tanks[tank].Balance!.Witnesses
            .Where(witness => witness.Filling == filling && witness.End > found.Since.UtcTicks)
            .OrderBy(witness => (witness.Gain - witness.Expected) / witness.Spread)
            .Take(Shown)
            .OrderBy(witness => witness.Start)
            .Select(witness => Sentence(plan, plan.Tanks[tank], witness));
    }

    private static string Sentence(SitePlan plan, Tank tank, in Witness witness)
    {
        var (from, to) = (tank.Probes[witness.From].Name, tank.Probes[witness.To].Name);
        var (start, end) = (new DateTimeOffset(witness.Start, TimeSpan.Zero), new DateTimeOffset(witness.End, TimeSpan.Zero));
        var way = witness.From == witness.To ? $"back at probe {from}" : $"from probe {from} to {to}";
        var (seen, expected) = (Litres(Math.Abs(witness.Gain)), Litres(Math.Abs(witness.Expected)));
        var moved = witness.Filling ? "gained" : "lost";
        return $"{RuleContext.Clock(plan, start)} to {RuleContext.Clock(plan, end)}, {way}: {tank.Id} {moved} {seen} L in {Asking.Lasting(end - start)}; {expected} L were to be expected, give or take {Litres(witness.Spread)}.";
    }

    /// <summary>What else it may be; null when it can be nothing else.</summary>
    public static string? Otherwise(Found found)
    {
        var others = found.Causes.Skip(1).Where(cause => cause.Probability >= WorthNaming)
            .Select(cause => $"{InWords(cause.Name)} ({Percent(cause.Probability)})").ToList();
        return others.Count == 0 ? null : $"It could also be {string.Join(", or ", others)}.";
    }

    public static ImmutableArray<string> All(params IEnumerable<string?>[] lines) => [.. lines.SelectMany(part => part).OfType<string>()];

    public static string InWords(string cause) => cause switch
    {
        "leak" => "a steady leak",
        "growing-leak" => "a leak that grows",
        "back-drain" => "water that runs back through the pump while it rests",
        "heavy-use" => "more use than usual",
        "new-habit" => "a new use at fixed hours, such as watering at night",
        "weak-pump" => "a pump that delivers less",
        "low-voltage" => "a low supply voltage",
        _ => cause,
    };

    /// <summary>A size with its interval: "61 L/h (50 to 72)".</summary>
    public static string Sized(Estimate size, string unit) => $"{Asking.Plain(size.Value)} {unit} ({Asking.Plain(size.Low)} to {Asking.Plain(size.High)})";

    public static Estimate Interval(double value, double spread) => new(value, value - (BalanceAccount.Ninety * spread), value + (BalanceAccount.Ninety * spread));

    private static string Litres(double value) => Math.Round(value).ToString("0", CultureInfo.InvariantCulture);

    private static string Percent(double share) => share.ToString("0 %", CultureInfo.InvariantCulture);
}
