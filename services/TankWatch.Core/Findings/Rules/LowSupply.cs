namespace TankWatch.Core.Findings.Rules;

/// <summary>The sump stays empty, or stays below its restart probe, longer than a supply that runs daily would leave it.</summary>
/// <remarks>The plain form: a fixed time. What is usual for this sump, and how many litres are short, takes the learnt supply hours.</remarks>
internal sealed class LowSupply : Rule
{
    private static readonly TimeSpan EmptyTooLong = TimeSpan.FromMinutes(30);
    private static readonly TimeSpan LowTooLong = TimeSpan.FromHours(12);

    public override FindingKind Kind => FindingKind.LowSupply;
    public override RuleScope Scope => RuleScope.Sump;
    public override Priority Priority => Priority.High;
    public override TimeSpan ClearAfter => TimeSpan.FromMinutes(5);

    public override Verdict Judge(in RuleContext context, int device)
    {
        if (!context.KnowsTank(device))
        {
            return Verdict.Unknown;
        }

        var sump = context.Timeline.Tanks[device];
        var restart = Math.Min(1, sump.Probes.Length - 1);
        if (sump.IsWet(restart))
        {
            return Verdict.Clear;
        }

        var emptyDue = sump.EmptySince + EmptyTooLong;
        var lowDue = sump.Probes[restart].ChangedAt + LowTooLong;
        if (emptyDue <= context.Now || lowDue <= context.Now)
        {
            return Verdict.Holds(sump.Probes[restart].ChangedAt ?? sump.EmptySince);
        }

        return Verdict.Between(emptyDue is null || lowDue < emptyDue ? lowDue : emptyDue);
    }

    public override Description Describe(in RuleContext context, int device, DateTimeOffset since)
    {
        var (tank, sump) = (context.Plan.Tanks[device], context.Timeline.Tanks[device]);
        var hours = context.Plan.SupplyHours.IsEmpty ? ""
            : $" The supply is due {string.Join(" and ", context.Plan.SupplyHours.Select(h => $"{h.From:HH:mm} to {h.To:HH:mm}"))}.";
        return new(new(
            sump.EmptySince is not null ? $"Sump {tank.Id} is empty and does not refill." : $"Sump {tank.Id} does not refill as it should.",
            [
                sump.EmptySince is { } empty ? $"Below its cut-out probe since {context.Clock(empty)}; the pump cannot draw." : $"Below its restart probe since {context.Clock(since)}.",
                $"It normally refills within a day.{hours}",
            ],
            ["Ask whether the public supply ran, and at what pressure.", "From outside, see whether the inlet runs when the supply is on: its valve may be shut or stuck.", "Ask the residents to save water until it is back."],
            [Cautions.Sump, Cautions.Water]));
    }
}
