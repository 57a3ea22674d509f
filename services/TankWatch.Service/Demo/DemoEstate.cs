using System.Text;
using TankWatch.Core.Sites;
using TankWatch.Service.Ingest;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;
using TankWatch.Simulator;

namespace TankWatch.Service.Demo;

/// <summary>The simulated buildings: moved into the store as files, and brought up to the present by the same way in as any message.</summary>
internal sealed class DemoEstate(LedgerStore ledger, SiteDirectory directory, SiteInbox inbox, TimeProvider time)
{
    private const ulong Seed = 20;
    private const int Days = 30;

    private readonly List<SimulatedSite> sites = [];
    private DateTimeOffset start;

    /// <summary>Stores the site files and begins the simulations a month ago.</summary>
    public async Task SettleInAsync(CancellationToken stop)
    {
        start = time.GetUtcNow();
        foreach (var building in Estate.Buildings)
        {
            var plan = SiteFile.Parse(Encoding.UTF8.GetBytes(building.SiteFile)).Plan
                ?? throw new InvalidOperationException($"The built-in site file of {building.Id} has a fault.");
            if (ledger.PutSite(plan, building.SiteFile) is { } fault)
            {
                throw new InvalidOperationException(fault);
            }

            sites.Add(building.Begin(plan, Seed, start, TimeSpan.FromDays(Days)));
        }

        await directory.RefreshAsync(stop);
    }

    /// <summary>Lets the buildings live up to the start of the demonstration, several at a time.</summary>
    /// <param name="progress">Told the share that is done.</param>
    /// <param name="stop">Ends it early.</param>
    public async Task LiveThroughHistoryAsync(Action<double> progress, CancellationToken stop)
    {
        var done = 0;
        await Parallel.ForEachAsync(sites, stop, async (site, cancel) =>
        {
            for (var day = 1; day <= Days; day++)
            {
                var messages = site.Advance(start.AddDays(day - Days));
                var durable = new List<Task>(messages.Count);
                foreach (var message in messages)
                {
                    durable.Add(await inbox.TakeInAsync(Received(message), cancel));
                }

                await Task.WhenAll(durable).WaitAsync(cancel);
                progress(Interlocked.Increment(ref done) / (double)(Days * sites.Count));
            }
        });

        // The inbox is emptied in order, so what comes after all of it has seen all of it judged.
        await directory.RefreshAsync(stop);
    }

    /// <summary>What the units have sent since the last call.</summary>
    public IReadOnlyList<SimulatedMessage> LiveOn()
    {
        var now = time.GetUtcNow();
        return [.. sites.SelectMany(site => site.Advance(now)).OrderBy(message => message.ArrivesAt)];
    }

    private static ReceivedMessage Received(SimulatedMessage message) =>
        new(message.Topic, Encoding.UTF8.GetBytes(message.PayloadJson), message.Retained, message.ArrivesAt);
}
