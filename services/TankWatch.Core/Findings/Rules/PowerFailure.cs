namespace TankWatch.Core.Findings.Rules;

/// <summary>The mains are off where a unit is.</summary>
internal sealed class PowerFailure : Rule
{
    public override FindingKind Kind => FindingKind.PowerFailure;
    public override RuleScope Scope => RuleScope.Unit;
    public override Priority Priority => Priority.Medium;
    public override TimeSpan RaiseAfter => TimeSpan.FromSeconds(60);
    public override TimeSpan ClearAfter => TimeSpan.FromSeconds(60);

    public override Verdict Judge(in RuleContext context, int device) => context.Timeline.Units[device] switch
    {
        { MainsOffSince: { } since } => Verdict.Holds(since),
        { MainsKnown: false } => Verdict.Unknown,
        _ => Verdict.Clear,
    };

    public override Description Describe(in RuleContext context, int device, DateTimeOffset since)
    {
        var unit = context.Plan.Units[device].Id;
        return new(new(
            $"The mains are off at {context.Plan.Name}; no pump can run there.",
            [$"Unit {unit} has reported no mains since {context.Clock(since)}."],
            ["Ask neighbours whether theirs are off too; if so, the electricity supplier knows or should be told.", "If only this building is dark, call a licensed electrician.", "Ask the residents to save water: the tank is not being filled."],
            Cautions.Pump));
    }
}
