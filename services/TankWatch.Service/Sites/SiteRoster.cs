using System.Collections.Immutable;
using TankWatch.Core;
using TankWatch.Core.Sites;
using TankWatch.Core.Sparkplug;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Sites;

/// <summary>The sites in memory, kept in step with the store, and which site each unit belongs to.</summary>
/// <remarks>A site whose judgement failed is built anew from the store, at first soon, then ever less often; the others go on.</remarks>
internal sealed partial class SiteRoster(LedgerStore ledger, SeriesStore series, ServiceMetrics metrics, TimeProvider time, ILogger logger)
{
    private static readonly TimeSpan FirstRetry = TimeSpan.FromSeconds(30);
    private static readonly TimeSpan LongestRetry = TimeSpan.FromHours(1);

    private readonly Dictionary<SiteId, KeptSite> sites = [];
    private readonly Dictionary<SiteId, Known> known = [];
    private readonly Dictionary<UnitId, SiteId> owners = [];
    private readonly Dictionary<SiteId, (DateTimeOffset RetryAt, int Failures)> failed = [];
    private ILookup<SiteId, string> declined = Array.Empty<SiteId>().ToLookup(site => site, _ => "");
    private long? changesSeen;

    public IReadOnlyCollection<KeptSite> Sites => sites.Values;

    /// <summary>The units that speak Sparkplug B, by their edge nodes; another object whenever sites change.</summary>
    public ImmutableDictionary<EdgeNodeId, ImmutableArray<MappedUnit>> Edges { get; private set; } = ImmutableDictionary<EdgeNodeId, ImmutableArray<MappedUnit>>.Empty;

    /// <summary>Those whose judgement failed and that are in no list until they are built anew, by their ids.</summary>
    public IEnumerable<SiteId> Failed => failed.Keys.OrderBy(site => site.Value, StringComparer.Ordinal);

    public KeptSite? Find(SiteId site) => sites.GetValueOrDefault(site);

    /// <summary>The plan of the site that names a unit, whether or not its judgement works at present.</summary>
    public SitePlan? PlanOf(UnitId unit) => owners.TryGetValue(unit, out var site) ? known.GetValueOrDefault(site)?.Plan : null;

    /// <summary>What is installed at a site, whether or not its judgement works at present; null when it is gone.</summary>
    public SitePlan? PlanOf(SiteId site) => known.GetValueOrDefault(site)?.Plan;

    /// <summary>Takes over what changed in the store, and tries again what failed.</summary>
    /// <returns>What the newly built sites ask to be written, and the sites that are gone.</returns>
    public (IReadOnlyList<SiteWrites> Writes, IReadOnlyList<SiteId> Gone) Refresh(DateTimeOffset now)
    {
        var changes = ledger.ReadChanges();
        if (changes == changesSeen && !failed.Values.Any(failure => failure.RetryAt <= now))
        {
            return ([], []);
        }

        declined = ledger.ReadDeclined();
        foreach (var site in sites.Values)
        {
            Ask(site);
        }

        var versions = ledger.ReadSiteVersions();
        var gone = known.Keys.Where(id => !versions.ContainsKey(id)).ToList();
        gone.ForEach(Forget);
        series.Refresh();
        var writes = new List<SiteWrites>();
        var marks = sites.Count == 0 ? series.ReadMarks() : null; // At the start all at once.
        foreach (var id in versions.Keys.Where(id => IsStale(id, versions[id], now)))
        {
            if (ledger.FindSite(id) is { } site)
            {
                known[id] = new(site.Plan, versions[id]);
                if (site.Plan is { } plan && Try(id, () => Build(plan, marks, now)) is { } built)
                {
                    writes.Add(built);
                }
            }
        }

        Route();
        changesSeen = changes;
        return (writes, gone);
    }

    /// <summary>Runs a step of one site; a fault in it costs that site its state, never the others theirs.</summary>
    /// <returns>Null when there was a fault, or nothing to do.</returns>
    public T? Try<T>(SiteId site, Func<T?> step) where T : class
    {
        try
        {
            return step();
        }
        catch (Exception fault)
        {
            metrics.JudgementFault();
            LogJudgementFault(fault, site.Value);
            BuildAnew(site);
            return null;
        }
    }

    /// <summary>Drops a site's state in memory, to be built from the store.</summary>
    private void BuildAnew(SiteId site)
    {
        sites.Remove(site);
        var failures = failed.TryGetValue(site, out var before) ? before.Failures + 1 : 1;
        var wait = TimeSpan.FromTicks(Math.Min(LongestRetry.Ticks, FirstRetry.Ticks << Math.Min(failures - 1, 20)));
        failed[site] = (time.GetUtcNow() + wait, failures);
    }

    /// <summary>Has every site built anew at the next look, when the store and the memory may differ.</summary>
    public void BuildAllAnew()
    {
        sites.Clear();
        changesSeen = null;
    }

    private bool IsStale(SiteId site, long version, DateTimeOffset now) =>
        !known.TryGetValue(site, out var seen) || seen.Version != version
        || (failed.TryGetValue(site, out var failure) ? failure.RetryAt <= now : seen.Plan is not null && !sites.ContainsKey(site));

    private SiteWrites Build(SitePlan plan, Dictionary<SiteId, SiteMark>? marks, DateTimeOffset now)
    {
        var kept = new KeptSite(plan, series, ledger, (marks ?? series.ReadMarks(plan.Id)).GetValueOrDefault(plan.Id), now);
        Ask(kept);
        var writes = kept.Build(now);
        sites[plan.Id] = kept;
        failed.Remove(plan.Id);
        return writes;
    }

    /// <summary>Tells a site who wants to hear of nothing but the critical.</summary>
    private void Ask(KeptSite site) => site.Decline(declined[site.Plan.Id].ToHashSet(StringComparer.Ordinal));

    private void Forget(SiteId site)
    {
        sites.Remove(site);
        known.Remove(site);
        failed.Remove(site);
    }

    private void Route()
    {
        owners.Clear();
        foreach (var plan in known.Values.Select(site => site.Plan).OfType<SitePlan>())
        {
            foreach (var unit in plan.Units)
            {
                owners[unit.Id] = plan.Id;
            }
        }

        Edges = known.Values.Select(site => site.Plan).OfType<SitePlan>().OrderBy(plan => plan.Id.Value, StringComparer.Ordinal)
            .SelectMany(plan => plan.Units.Where(unit => unit.Sparkplug is not null).Select(unit => new MappedUnit(plan, unit)))
            .GroupBy(unit => unit.Unit.Sparkplug!.Node)
            .ToImmutableDictionary(node => node.Key, node => node.DistinctBy(unit => unit.Unit.Sparkplug!.Device).ToImmutableArray()); // Of two sites that name one device, the first.
    }

    /// <param name="Plan">Null when this version of the program finds a fault in its file that an earlier one did not.</param>
    /// <param name="Version">Of the file.</param>
    private sealed record Known(SitePlan? Plan, long Version);

    [LoggerMessage(Level = LogLevel.Error, Message = "the judgement of site {Site} failed; it is built anew from the store")]
    private partial void LogJudgementFault(Exception fault, string site);
}
