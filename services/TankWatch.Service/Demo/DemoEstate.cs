using System.Collections.Immutable;
using System.Text;
using TankWatch.Core;
using TankWatch.Core.Contracts;
using TankWatch.Core.Findings;
using TankWatch.Core.Sites;
using TankWatch.Service.Api;
using TankWatch.Service.Ingest;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;
using TankWatch.Service.Visits;
using TankWatch.Simulator;

namespace TankWatch.Service.Demo;

/// <summary>The simulated buildings: moved into the store as files, and brought up to the present by the same way in as any message.</summary>
internal sealed class DemoEstate(LedgerStore ledger, SiteDirectory directory, SiteInbox inbox, VisitDesk visits, TimeProvider time)
{
    private const ulong Seed = 20;
    private const int Days = 30;
    private static readonly TimeSpan Aside = TimeSpan.FromMinutes(3.5);
    private static readonly Caller Installer = new("Ansel Reddick", "installer", null);

    /// <summary>The building with a contract.</summary>
    public static readonly SiteId Contracted = new("finch-mews");

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

    /// <summary>Lets the buildings live up to the start of the demonstration, all of them day by day: what they raise is created in order.</summary>
    /// <param name="progress">Told the share that is done.</param>
    /// <param name="stop">Ends it early.</param>
    public async Task LiveThroughHistoryAsync(Action<double> progress, CancellationToken stop)
    {
        for (var day = 1; day <= Days; day++)
        {
            var until = start.AddDays(day - Days);
            await Parallel.ForEachAsync(sites, stop, async (site, cancel) =>
            {
                foreach (var message in site.Advance(until))
                {
                    await inbox.TakeInAsync(Received(message), receipt: null, cancel);
                }
            });
            progress(day / (double)Days);
        }

        // The inbox is emptied in order, so what comes after all of it has seen all of it judged.
        await directory.RefreshAsync(stop);
    }

    /// <summary>
    /// What the month of history left open has been seen by somebody, as in any estate that is looked after: what is new stands out. The
    /// oldest was put aside, and comes back a few minutes from now.
    /// </summary>
    public async Task TakeInHandAsync(CancellationToken stop)
    {
        var open = directory.Sites.SelectMany(site => site.OpenAlerts).OrderBy(alert => alert.Finding.Since).ToList();
        foreach (var alert in open)
        {
            await directory.TellAsync(new Acknowledge(alert.Id, "Ida Wren", "The installer comes on Thursday."), stop);
        }

        if (open is [var oldest, ..])
        {
            await directory.TellAsync(new Shelve(oldest.Id, "Ida Wren", time.GetUtcNow() + Aside, "Waiting for the spare part."), stop);
        }
    }

    /// <summary>A contract of one building: its installer was there because of an alert, and comes again because of another.</summary>
    public async Task PromiseAsync(CancellationToken stop)
    {
        var (plan, now) = (directory.Find(Contracted)!.Plan, time.GetUtcNow());
        var begun = DateOnly.FromDateTime(now.UtcDateTime).AddDays(-Days);
        var targets = ImmutableSortedDictionary.CreateRange([KeyValuePair.Create(Priority.Critical, 60), KeyValuePair.Create(Priority.High, 240), KeyValuePair.Create(Priority.Medium, 24 * 60)]);
        ledger.PutContract(plan.Id, new(begun, null, targets, WorkingHours.Always, VisitsPerYear: 4, ReportDay: 3));
        var slow = FindNewest(FindingKind.SlowFill);
        var call = new WantedVisit(now.AddSeconds(1), 45, Installer.Name, "fitter@example.org", slow);
        if (visits.Plan(plan, Installer, call) is VisitOutcome.Done { Visit: var called })
        {
            ImmutableArray<VisitFinding> found = slow is null ? [] : [new(slow, FindingNames.Of(FindingKind.HeavyUse))];
            await visits.EndAsync(called, plan, Installer, null, found, "The pump is well. There were guests, and everybody showered at once.", stop);
        }

        var morning = TimeZoneInfo.ConvertTime(now, plan.TimeZone).Date.AddDays(3).AddHours(10);
        visits.Plan(plan, Installer, call with { StartsAt = new(morning, plan.TimeZone.GetUtcOffset(morning)), Minutes = 60, Alert = FindNewest(FindingKind.ShortCycling) });
    }

    private string? FindNewest(FindingKind kind) => ledger.ListAlerts(new(Contracted, null, kind, null, null), null, 1) is [var alert] ? alert.Id : null;

    /// <summary>What the units have sent since the last call.</summary>
    public IReadOnlyList<SimulatedMessage> LiveOn(DateTimeOffset to) => [.. sites.SelectMany(site => site.Advance(to)).OrderBy(message => message.ArrivesAt)];

    /// <remarks>Heard as it was said: that the broker keeps a copy for others makes no old word of it.</remarks>
    private static ReceivedMessage Received(SimulatedMessage message) =>
        new(message.Topic, Encoding.UTF8.GetBytes(message.PayloadJson), Retained: false, message.ArrivesAt);
}
