using System.Collections.Immutable;
using TankWatch.Core.Findings.Rules;
using TankWatch.Core.Sites;
using TankWatch.Core.Time;

namespace TankWatch.Core.Findings;

/// <summary>One rule about one device: its open finding and its hold times in progress.</summary>
/// <param name="Open">The finding, while it holds.</param>
/// <param name="HoldsSince">Since when the condition holds without having been raised yet.</param>
/// <param name="GoneSince">Since when the condition of an open finding is gone without having been cleared yet.</param>
/// <param name="LastClearedAt">When it last cleared: the next onset cannot lie before.</param>
public sealed record RuleState(Finding? Open, DateTimeOffset? HoldsSince, DateTimeOffset? GoneSince, DateTimeOffset? LastClearedAt)
{
    private readonly PackedTime holdsSince = HoldsSince, goneSince = GoneSince, lastClearedAt = LastClearedAt;

    public DateTimeOffset? HoldsSince { get => holdsSince; init => holdsSince = value; }
    public DateTimeOffset? GoneSince { get => goneSince; init => goneSince = value; }
    public DateTimeOffset? LastClearedAt { get => lastClearedAt; init => lastClearedAt = value; }

    public static readonly RuleState Quiet = new(null, null, null, null);
}

/// <summary>All rules, and the one way in which their verdicts become findings: thresholds that differ, and hold times.</summary>
public static class RuleBook
{
    private static readonly ImmutableArray<Rule> All =
    [
        new ShortCycling(), new SlowFill(), new RepeatedDryTrips(), new RunTooLong(), new OverflowRisk(), new ControlFault(), new NoStart(),
        new VoltageTrips(), new OverloadTrips(), new LeftInManual(), new RunningOut(), new LowSupply(), new ProbeFault(), new PowerFailure(), new Leak(), new BackDrain(),
        new WeakPump(), new HeavyUse(),
    ];

    /// <summary>Every rule with every device it is asked about, in a fixed order.</summary>
    public static ImmutableArray<(Rule Rule, int Device)> SlotsOf(SitePlan plan) =>
        [.. All.SelectMany(rule => rule.Devices(plan).Select(device => (rule, device)))];

    /// <param name="states">One per slot of <paramref name="slots"/>.</param>
    /// <param name="slots">From <see cref="SlotsOf"/>.</param>
    /// <param name="context">The site as it is known now.</param>
    /// <param name="changed">Receives findings raised or cleared.</param>
    /// <returns>The states after, and when something may change though nothing is observed (null: never).</returns>
    public static (ImmutableArray<RuleState> Next, DateTimeOffset? WakeAt) Evaluate(
        ImmutableArray<RuleState> states, ImmutableArray<(Rule Rule, int Device)> slots, in RuleContext context, List<Finding> changed)
    {
        ImmutableArray<RuleState>.Builder? next = null;
        DateTimeOffset? wake = null;
        for (var i = 0; i < slots.Length; i++)
        {
            var (rule, device) = slots[i];
            var verdict = rule.Judge(context, device);
            if (IsNothingNew(states[i], verdict))
            {
                wake = Moments.Earlier(wake, verdict.AskAgainAt);
                continue;
            }

            var (state, due) = Settle(states[i], rule, device, verdict, context, changed);
            if (!ReferenceEquals(state, states[i]))
            {
                next ??= states.ToBuilder();
                next[i] = state;
            }

            wake = Moments.Earlier(Moments.Earlier(wake, due), verdict.AskAgainAt);
        }

        return (next is null ? states : next.MoveToImmutable(), wake);
    }

    /// <summary>As most rules are most of the time: nothing is open, nothing begins, and <see cref="Settle"/> would change nothing.</summary>
    private static bool IsNothingNew(RuleState state, in Verdict verdict) =>
        state.Open is null && (verdict.Kind == VerdictKind.Unknown || (verdict.Kind != VerdictKind.Holds && state.HoldsSince is null));

    private static (RuleState Next, DateTimeOffset? Due) Settle(
        RuleState state, Rule rule, int device, Verdict verdict, in RuleContext context, List<Finding> changed) => (state.Open, verdict.Kind) switch
        {
            (null, VerdictKind.Holds) => Raise(state, rule, device, verdict, context, changed),
            (null, VerdictKind.Clear or VerdictKind.Between) => (state.HoldsSince is null ? state : Calmed(state), null),
            ({ } open, VerdictKind.Clear) => Clear(state, open, rule, context, changed),
            ({ }, VerdictKind.Holds or VerdictKind.Between) => (state.GoneSince is null ? state : state with { GoneSince = null }, null),
            _ => (state, null),
        };

    /// <summary>Most sites are quiet most of the time, and share one object for it.</summary>
    private static RuleState Calmed(RuleState state) => state.LastClearedAt is null ? RuleState.Quiet : state with { HoldsSince = null };

    private static (RuleState Next, DateTimeOffset? Due) Raise(
        RuleState state, Rule rule, int device, Verdict verdict, in RuleContext context, List<Finding> changed)
    {
        var since = verdict.Since ?? state.HoldsSince ?? context.Now;
        var due = since + rule.RaiseAfter;
        if (due > context.Now)
        {
            return (state.HoldsSince == since ? state : state with { HoldsSince = since }, due);
        }

        var onset = state.LastClearedAt is { } cleared && cleared > since ? cleared : since;
        var description = rule.Describe(context, device, onset);
        var finding = new Finding(
            rule.Kind, rule.DeviceOf(context.Plan, device), rule.Priority, onset, context.Now, null, description.Estimate,
            description.Causes, description.Text);
        changed.Add(finding);
        return (state with { Open = finding, HoldsSince = null, GoneSince = null }, null);
    }

    private static (RuleState Next, DateTimeOffset? Due) Clear(
        RuleState state, Finding open, Rule rule, in RuleContext context, List<Finding> changed)
    {
        var since = state.GoneSince ?? context.Now;
        var due = since + rule.ClearAfter;
        if (due > context.Now)
        {
            return (state.GoneSince is null ? state with { GoneSince = since } : state, due);
        }

        changed.Add(open with { ClearedAt = context.Now });
        return (new(null, null, null, context.Now), null);
    }
}
