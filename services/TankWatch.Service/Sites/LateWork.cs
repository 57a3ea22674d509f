using TankWatch.Core;

namespace TankWatch.Service.Sites;

/// <summary>The sites that have late messages to judge, each a short while at a time, so that none holds up the others. Owned by the keeper.</summary>
internal sealed class LateWork(TimeProvider time)
{
    private const int Steps = 500;
    private static readonly TimeSpan Share = TimeSpan.FromMilliseconds(10);

    private readonly HashSet<SiteId> waiting = [];

    /// <summary>Takes notice of a site that a step has left with late messages.</summary>
    public void Note(SiteRoster roster, SiteWrites made)
    {
        if (roster.Find(made.Plan.Id) is { NeedsRework: true })
        {
            waiting.Add(made.Plan.Id);
        }
    }

    /// <summary>Judges late messages of sites whose backlog is in, or has been coming for long.</summary>
    /// <returns>False when the time was up before the work was done.</returns>
    public bool Judge(SiteRoster roster, List<SiteWrites> writes, DateTimeOffset now)
    {
        var started = time.GetTimestamp();
        foreach (var id in waiting.ToList())
        {
            if (roster.Find(id) is not { NeedsRework: true } site)
            {
                waiting.Remove(id);
                continue;
            }

            while (site.NeedsRework && site.IsReadyForRework(now) && time.GetElapsedTime(started) < Share)
            {
                if (roster.Try(id, () => site.Rework(Steps, now)) is { } done)
                {
                    writes.Add(done);
                }
                else if (roster.Find(id) != site)
                {
                    break; // It failed, and is built anew.
                }
            }

            if (time.GetElapsedTime(started) >= Share)
            {
                return false;
            }
        }

        return true;
    }
}
