using System.Collections.Immutable;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;
using TankWatch.Core.Timelines;

namespace TankWatch.Core.Findings;

/// <summary>What a rule may look at.</summary>
public readonly record struct RuleContext(SitePlan Plan, SiteTimeline Timeline, DateTimeOffset Now)
{
    /// <summary>A time as people at the site read it.</summary>
    public PhraseMoment Clock(DateTimeOffset at) => PhraseMoment.In(Plan.TimeZone, at);
}

/// <summary>Which devices a rule is asked about, one at a time.</summary>
public enum RuleScope { Pump, Overhead, Sump, AnyTank, Unit }

/// <summary>What a rule says when its finding is raised.</summary>
/// <param name="Text">Plain words.</param>
/// <param name="Causes">Weighed causes, if the kind has any.</param>
/// <param name="Estimate">The size, if it has one.</param>
public sealed record Description(FindingText Text, ImmutableArray<WeighedCause> Causes, Quantity? Estimate = null)
{
    public Description(FindingText text) : this(text, [])
    {
    }
}

/// <summary>A rule of the trade: one kind of finding about one kind of device.</summary>
public abstract class Rule
{
    public abstract FindingKind Kind { get; }
    public abstract RuleScope Scope { get; }
    public abstract Priority Priority { get; }

    /// <summary>How long the condition must hold before it is raised.</summary>
    public virtual TimeSpan RaiseAfter => TimeSpan.Zero;

    /// <summary>How long it must be gone before it is cleared.</summary>
    public virtual TimeSpan ClearAfter => TimeSpan.Zero;

    /// <param name="context">The site as it is known now.</param>
    /// <param name="device">Index of the tank, pump or unit.</param>
    public abstract Verdict Judge(in RuleContext context, int device);

    /// <param name="context">The site at the moment the finding is raised.</param>
    /// <param name="device">Index of the tank, pump or unit.</param>
    /// <param name="since">The finding's onset.</param>
    public abstract Description Describe(in RuleContext context, int device, DateTimeOffset since);

    public IEnumerable<int> Devices(SitePlan plan) => Scope switch
    {
        RuleScope.Pump => plan.Pumps.Select(p => p.Index),
        RuleScope.Unit => plan.Units.Select(u => u.Index),
        RuleScope.Overhead => plan.Tanks.Where(t => t.Role == TankRole.Overhead).Select(t => t.Index),
        RuleScope.Sump => plan.Tanks.Where(t => t.Role == TankRole.Sump && !t.Probes.IsEmpty).Select(t => t.Index),
        RuleScope.AnyTank => plan.Tanks.Where(t => !t.Probes.IsEmpty).Select(t => t.Index),
        _ => throw new InvalidOperationException($"no devices of scope {Scope}"),
    };

    public DeviceId DeviceOf(SitePlan plan, int device) => Scope switch
    {
        RuleScope.Pump => plan.Pumps[device].Id,
        RuleScope.Unit => new(plan.Units[device].Id.Value),
        _ => plan.Tanks[device].Id,
    };
}
