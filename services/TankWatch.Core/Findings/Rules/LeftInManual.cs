using System.Collections.Immutable;
using TankWatch.Core.Texts;
using TankWatch.Core.Time;

namespace TankWatch.Core.Findings.Rules;

/// <summary>Manual mode bypasses every protection; someone may have forgotten it.</summary>
internal sealed class LeftInManual : Rule
{
    public override FindingKind Kind => FindingKind.LeftInManual;
    public override RuleScope Scope => RuleScope.Pump;
    public override Priority Priority => Priority.Medium;
    /// <summary>A manual run needs someone beside it; half an hour is more than filling a tank by hand takes most of them.</summary>
    private static readonly TimeSpan Running = TimeSpan.FromMinutes(30);

    /// <summary>At rest, whoever set it is expected back within the same working day; an empty tank is told of long before.</summary>
    public static readonly TimeSpan Resting = TimeSpan.FromHours(8);

    private static readonly ImmutableArray<Phrase> Advice = Phrase.Each("left-in-manual.advice.who", "left-in-manual.advice.automatic");

    public override Verdict Judge(in RuleContext context, int device)
    {
        var pump = context.Timeline.Pumps[device];
        if (pump.ManualSince is not { } since)
        {
            return pump.Running is null ? Verdict.Unknown : Verdict.Clear;
        }

        var due = pump.Running == true ? Moments.Later(since, pump.Since)!.Value + Running : since + Resting;
        due = due < since + Resting ? due : since + Resting;
        return due <= context.Now ? Verdict.Holds(since) : Verdict.Between(due);
    }

    public override Description Describe(in RuleContext context, int device, DateTimeOffset since)
    {
        return new(new(
            Phrase.Of("left-in-manual.summary", ("pump", context.Plan.Pumps[device].Id.Value)), [Phrase.Of("left-in-manual.evidence.since", ("since", context.Clock(since)))],
            Advice, Cautions.PumpAndTank));
    }
}
