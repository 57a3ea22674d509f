using System.Collections.Immutable;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Sites;

namespace TankWatch.Service.Sites;

/// <summary>A site as readers see it: an immutable picture of one moment, whose parts belong together.</summary>
/// <param name="Plan">What is installed.</param>
/// <param name="State">What the judgement knows.</param>
/// <param name="OpenAlerts">All but those back to normal, by id.</param>
/// <param name="Units">In the order of the plan.</param>
/// <param name="AsOf">Wall clock, UTC.</param>
public sealed record SiteView(
    SitePlan Plan, SiteState State, ImmutableArray<Alert> OpenAlerts, ImmutableArray<UnitView> Units, DateTimeOffset AsOf);

/// <summary>A field unit as readers see it.</summary>
/// <param name="Id">The unit.</param>
/// <param name="Site">Where it stands.</param>
/// <param name="HeardAt">Last sign of life, time of receipt; null if it never spoke.</param>
/// <param name="NewestAt">The newest time it reported.</param>
/// <param name="Online">As its last status said; null if it sent none.</param>
/// <param name="Firmware">As last told.</param>
/// <param name="SignalDbm">As last told.</param>
/// <param name="BatteryPercent">As last told, 0 to 100.</param>
/// <param name="ClockSkew">How far its clock is behind ours, transport included: the median of its last live messages; null if unknown.</param>
/// <param name="Missing">Sequence numbers skipped within its restarts: sent, and never taken.</param>
/// <param name="MissingSince">When this service noticed that some are missing, wall clock; null while none is. A backlog that brings all of them ends it.</param>
/// <param name="Accepted">Messages kept.</param>
/// <param name="Refused">Messages that could not be taken and are still kept.</param>
/// <param name="Duplicates">Since this service started.</param>
/// <param name="Silent">An alert says so.</param>
public sealed record UnitView(
    UnitId Id, SiteId Site, DateTimeOffset? HeardAt, DateTimeOffset? NewestAt, bool? Online, string? Firmware, double? SignalDbm, double? BatteryPercent,
    TimeSpan? ClockSkew, long Missing, DateTimeOffset? MissingSince, long Accepted, long Refused, long Duplicates, bool Silent);

/// <summary>All sites as they are now, and the way to act on their alerts.</summary>
public sealed class SiteDirectory(SiteInbox inbox)
{
    /// <summary>By id. Made anew when sites come or go; a view takes the place of the one before it in its slot.</summary>
    private ImmutableSortedDictionary<string, Slot> slots = ImmutableSortedDictionary.Create<string, Slot>(StringComparer.Ordinal);
    private ImmutableHashSet<SiteWatch> watches = [];

    public IReadOnlyCollection<SiteView> Sites => [.. Volatile.Read(ref slots).Values.Select(slot => slot.View)];

    /// <summary>Open alerts that are of no one site: outages of areas, faults of this service. Only the keeper puts them here.</summary>
    public ImmutableArray<Alert> Estate { get; internal set; } = [];

    public SiteView? Find(SiteId site) => Volatile.Read(ref slots).GetValueOrDefault(site.Value)?.View;

    /// <summary>Carries out what a person asks; returns when it is durable.</summary>
    public Task<CommandOutcome> TellAsync(AlertCommand command, CancellationToken stop) => inbox.TellAsync(command, stop);

    /// <summary>Takes changes of sites from the store at once; without it they are seen within a second or so.</summary>
    public Task RefreshAsync(CancellationToken stop = default) => inbox.RefreshAsync(stop);

    /// <summary>Only the keeper publishes.</summary>
    internal void Publish(IEnumerable<SiteView> changed, IReadOnlyCollection<SiteId> gone)
    {
        changed = changed.Where(view => view.Plan.Id != SiteId.Own);
        var (known, all) = (slots, slots);
        foreach (var view in changed)
        {
            if (known.TryGetValue(view.Plan.Id.Value, out var slot))
            {
                slot.View = view;
            }
            else
            {
                all = all.SetItem(view.Plan.Id.Value, new(view));
            }
        }

        Volatile.Write(ref slots, all.RemoveRange(gone.Select(site => site.Value)));
    }

    /// <summary>Learns from now on which sites change: by messages, by what people do, by events of alerts, by coming or going.</summary>
    /// <param name="matters">Whether a site does.</param>
    public SiteWatch Watch(Predicate<SiteId> matters)
    {
        var watch = new SiteWatch(matters, gone => ImmutableInterlocked.Update(ref watches, all => all.Remove(gone)));
        ImmutableInterlocked.Update(ref watches, all => all.Add(watch));
        return watch;
    }

    /// <summary>Only the keeper tells, once the new state can be read.</summary>
    internal void Tell(IReadOnlyCollection<SiteId> changed)
    {
        foreach (var watch in Volatile.Read(ref watches))
        {
            watch.Add(changed);
        }
    }

    private sealed class Slot(SiteView view)
    {
        private SiteView view = view;

        public SiteView View
        {
            get => Volatile.Read(ref view);
            set => Volatile.Write(ref view, value);
        }
    }
}
