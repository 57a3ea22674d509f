using TankWatch.Core.Observations;

namespace TankWatch.Core;

/// <summary>The durable past of one site.</summary>
public interface ISiteRecord
{
    /// <summary>The next page of all durable observations, in <see cref="Observation.Order"/>.</summary>
    /// <param name="after">Only what comes after it in that order; null for all.</param>
    /// <param name="from">Only what is of this time or later.</param>
    /// <param name="limit">At most so many, at least 1. Fewer than that mean that the record ends there.</param>
    IReadOnlyList<Observation> Read(Observation? after, DateTimeOffset from, int limit);

    /// <summary>The newest durable snapshot to which <paramref name="first"/> is still to come (<see cref="SiteState.IsNewer"/>); null for none.</summary>
    /// <remarks>It must have seen all that the record holds before <paramref name="first"/>: late data void the snapshots after them.</remarks>
    SiteState? StateBefore(Observation first);
}
