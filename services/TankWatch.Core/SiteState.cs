using System.Collections.Immutable;
using TankWatch.Core.Findings;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Time;
using TankWatch.Core.Timelines;

namespace TankWatch.Core;

/// <summary>Everything the judgement knows of a site at a moment of event time. Immutable: a snapshot is a reference.</summary>
/// <param name="Timeline">What the observations say.</param>
/// <param name="Rules">One per slot of <see cref="RuleBook.SlotsOf"/>.</param>
/// <param name="Day">The figures of the local day in progress; null before the first observation.</param>
/// <param name="Last">The newest observation; null before the first.</param>
/// <param name="TickedTo">Whole minutes up to here have passed.</param>
/// <param name="WakeAt">Nothing changes before this unless something is observed; null: never.</param>
public sealed record SiteState(
    SiteTimeline Timeline,
    ImmutableArray<RuleState> Rules,
    DayLedger? Day,
    Observation? Last,
    DateTimeOffset TickedTo,
    DateTimeOffset? WakeAt)
{
    private readonly long tickedTo = TickedTo.UtcTicks;
    private readonly PackedTime wakeAt = WakeAt;

    public DateTimeOffset TickedTo { get => new(tickedTo, TimeSpan.Zero); init => tickedTo = value.UtcTicks; }
    public DateTimeOffset? WakeAt { get => wakeAt; init => wakeAt = value; }

    public static SiteState Start(SitePlan plan) => new(
        SiteTimeline.Start(plan), [.. RuleBook.SlotsOf(plan).Select(_ => RuleState.Quiet)], null, null, DateTimeOffset.MinValue, null);

    /// <summary>How far the state has come.</summary>
    public DateTimeOffset At => Last is { } last && last.Stamp.At > TickedTo ? last.Stamp.At : TickedTo;

    /// <summary>Whether an observation comes after all that this state has seen; an older one needs an older state.</summary>
    public bool IsNewer(Observation observation) =>
        observation.Stamp.At >= TickedTo && (Last is null || Observation.Order.Compare(observation, Last) > 0);

    public bool HasOpenFindings
    {
        get
        {
            foreach (var rule in Rules)
            {
                if (rule.Open is not null)
                {
                    return true;
                }
            }

            return false;
        }
    }

    public IEnumerable<Finding> OpenFindings => Rules.Where(r => r.Open is not null).Select(r => r.Open!);
}
