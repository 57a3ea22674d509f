using System.Diagnostics.Metrics;
using System.Text;
using Microsoft.Extensions.DependencyInjection;
using Microsoft.Extensions.Logging.Abstractions;
using Microsoft.Extensions.Time.Testing;
using TankWatch.Core.Sites;
using TankWatch.Service.Configuration;
using TankWatch.Service.Ingest;
using TankWatch.Service.Mail;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;
using Xunit;

namespace TankWatch.Service.Tests.Sites;

/// <summary>The service between broker and mail, on a store of its own; only the test turns the clock, unless it asks for the real one.</summary>
internal sealed class Rig : IAsyncDisposable
{
    private readonly bool ownsFolder;
    private readonly ServiceProvider meters = new ServiceCollection().AddMetrics().BuildServiceProvider();

    private Rig(string folder, bool ownsFolder, TimeProvider time, TimeSpan busyTimeout)
    {
        (Folder, this.ownsFolder, Time) = (folder, ownsFolder, time);
        Database = new(folder, busyTimeout);
        Ledger = new(Database, time);
        Series = new(Database);
        Directory = new(Inbox);
        Metrics = new(meters.GetRequiredService<IMeterFactory>(), Inbox);
        Composer = new(Mail);
        Keeper = new(Data, Database, Ledger, Series, Inbox, Directory, Composer, Bell, AlertBell, new(Database, time, "boot"), Operator, Ready, Metrics, Traces, time, NullLogger<SiteKeeper>.Instance);
    }

    public static DateTimeOffset Noon { get; } = new(2026, 3, 2, 12, 0, 0, TimeSpan.Zero);

    public string Folder { get; }
    public TimeProvider Time { get; }
    public FakeTimeProvider Clock => (FakeTimeProvider)Time;
    public DataOptions Data { get; } = new();
    public Database Database { get; }
    public LedgerStore Ledger { get; }
    public SeriesStore Series { get; }
    public SiteInbox Inbox { get; } = new();
    public SiteDirectory Directory { get; }
    public ReadyState Ready { get; } = new(watchesItself: false);
    public OutboxBell Bell { get; } = new();
    public AlertBell AlertBell { get; } = new();
    public ServiceMetrics Metrics { get; }
    public MessageTraces Traces { get; } = new();
    public OperatorOptions Operator { get; } = new() { Email = ["operator@water.example"] };
    public MailOptions Mail { get; } = new() { From = "tankwatch@water.example" };
    public MailComposer Composer { get; }
    public SiteKeeper Keeper { get; }

    public static Rig New(TimeProvider? time = null, TimeSpan? busyTimeout = null) => new(
        System.IO.Directory.CreateTempSubdirectory("tankwatch-").FullName, true, time ?? new FakeTimeProvider(Noon), busyTimeout ?? TimeSpan.FromSeconds(10));

    /// <summary>The same store, after the process ended.</summary>
    public Rig Again() => new(Folder, false, Time, TimeSpan.FromSeconds(10));

    /// <summary>With one site, and its unit fu-1 heard by a broker long enough to be caught up.</summary>
    public static async Task<Rig> RunningAsync(TimeProvider? time = null, TimeSpan? busyTimeout = null, string language = "en")
    {
        var rig = New(time, busyTimeout);
        Assert.Null(rig.Put(SampleSite.Json(contacts: SampleSite.Caretaker(language))));
        await rig.StartAsync();
        return rig;
    }

    public string? Put(string json) => Ledger.PutSite(SampleSite.Plan(json), json);

    public async Task StartAsync()
    {
        await Keeper.StartAsync(CancellationToken.None);
        Inbox.Listen(Time.GetUtcNow());
        await SettleAsync();
        if (Time is FakeTimeProvider)
        {
            // There is no broker and no sender here; where there are, they say so themselves.
            Ready.Set(Stage.Broker, null);
            Ready.Set(Stage.Mail, null);
            await PassAsync(TimeSpan.FromSeconds(12), TimeSpan.FromSeconds(2));
        }
    }

    /// <summary>Returns when all that was sent before has had its effect.</summary>
    public Task SettleAsync() => Directory.RefreshAsync().WaitAsync(TimeSpan.FromSeconds(30), TimeProvider.System);

    public async Task PassAsync(TimeSpan time, TimeSpan? step = null)
    {
        for (var passed = TimeSpan.Zero; passed < time; passed += step ?? TimeSpan.FromSeconds(30))
        {
            Clock.Advance(step ?? TimeSpan.FromSeconds(30));
            await SettleAsync();
        }
    }

    /// <summary>Lets the journal's rows grow old enough to be folded, and waits for it.</summary>
    public async Task FoldAsync()
    {
        Assert.True(Series.Fold.IsWanted);
        await PassAsync(Folding.AgeDue + TimeSpan.FromSeconds(10), TimeSpan.FromMinutes(1));
        await Eventually.Holds(() => !Series.Fold.IsWanted, "the end of the fold");
        await PassAsync(TimeSpan.FromSeconds(2), TimeSpan.FromSeconds(1));
    }

    /// <returns>Completes when it is durable.</returns>
    public Task SendAsync(string kind, string json, string unit = "fu-1", bool retained = false, string? trace = null) => Inbox.ReceiveAsync(
        new ReceivedMessage($"tankwatch/v1/{unit}/{kind}", Encoding.UTF8.GetBytes(json), retained, Time.GetUtcNow(), trace), CancellationToken.None);

    /// <summary>A power failure that has lasted long enough to be one, by messages of these very moments.</summary>
    public async Task FailPowerAsync(long firstSeq = 1, string? trace = null)
    {
        await SendAsync("supply", SampleSite.Supply(Time.GetUtcNow(), mains: false, firstSeq), trace: trace);
        await PassAsync(TimeSpan.FromMinutes(2));
        await SettleAsync();
    }

    public async Task RestorePowerAsync(long seq)
    {
        await SendAsync("supply", SampleSite.Supply(Time.GetUtcNow(), mains: true, seq));
        await PassAsync(TimeSpan.FromMinutes(3));
    }

    public async Task StopAsync()
    {
        await Keeper.StopAsync(CancellationToken.None);
        Database.Dispose();
    }

    public async ValueTask DisposeAsync()
    {
        await StopAsync();
        Keeper.Dispose();
        Bell.Dispose();
        Traces.Dispose();
        await meters.DisposeAsync();
        if (ownsFolder)
        {
            System.IO.Directory.Delete(Folder, recursive: true);
        }
    }
}

/// <summary>A site with a sump, a roof tank, a pump and one unit.</summary>
internal static class SampleSite
{
    public static string Caretaker(string language) => $$"""[ { "name": "Caretaker", "email": "caretaker@example.org", "role": "caretaker", "language": "{{language}}" } ]""";

    public static string Json(string id = "alder-row", string unit = "fu-1", string name = "Alder Row", string? contacts = null) => $$"""
        {
          "id": "{{id}}", "name": "{{name}}", "timeZone": "Europe/Lisbon",
          "tanks": [
            { "id": "sump", "role": "sump", "capacityLitres": 12000, "probes": [
              { "name": "cut-out", "volumeLitres": 1500 }, { "name": "restart", "volumeLitres": 4800 }, { "name": "full", "volumeLitres": 7200 } ] },
            { "id": "roof", "role": "overhead", "capacityLitres": 6000, "probes": [
              { "name": "low", "volumeLitres": 1500 }, { "name": "mid", "volumeLitres": 3900 }, { "name": "high", "volumeLitres": 5800 } ] } ],
          "pumps": [ { "id": "p1", "from": "sump", "to": [ "roof" ] } ],
          "units": [ { "id": "{{unit}}", "reports": [ "sump", "roof", "p1" ] } ],
          "contacts": {{contacts ?? Caretaker("en")}}
        }
        """;

    public static SitePlan Plan(string json)
    {
        var read = SiteFile.Parse(Encoding.UTF8.GetBytes(json));
        Assert.Empty(read.Faults);
        return read.Plan!;
    }

    public static string At(DateTimeOffset at) => at.ToString("yyyy-MM-ddTHH:mm:ss.fffffffZ", System.Globalization.CultureInfo.InvariantCulture);

    public static string Supply(DateTimeOffset at, bool mains, long seq, long boot = 1) =>
        $$"""{"at":"{{At(at)}}","boot":{{boot}},"seq":{{seq}},"mains":{{(mains ? "true" : "false")}}}""";

    public static string Level(DateTimeOffset at, string tank, string wet, long seq, long boot = 1) =>
        $$"""{"at":"{{At(at)}}","boot":{{boot}},"seq":{{seq}},"tank":"{{tank}}","wet":[{{string.Join(',', wet.Select(c => c == '1' ? "true" : "false"))}}]}""";

    public static string Pump(DateTimeOffset at, bool running, long seq, string cause = "level", long boot = 1) =>
        $$"""{"at":"{{At(at)}}","boot":{{boot}},"seq":{{seq}},"pump":"p1","state":"{{(running ? "running" : "stopped")}}","cause":"{{cause}}"}""";
}

/// <summary>Waiting for what happens on other threads or in other processes.</summary>
internal static class Eventually
{
    /// <summary>Looks again and again; a timeout names what was missing.</summary>
    public static async Task Holds(Func<bool> condition, string what, TimeSpan? within = null)
    {
        using var patience = new CancellationTokenSource(within ?? TimeSpan.FromSeconds(60));
        using var look = new PeriodicTimer(TimeSpan.FromMilliseconds(15));
        while (!condition())
        {
            try
            {
                await look.WaitForNextTickAsync(patience.Token);
            }
            catch (OperationCanceledException)
            {
                Assert.Fail($"still missing: {what}");
            }
        }
    }

    /// <summary>Asks again and again, and returns the first answer that will do; a timeout names what was missing.</summary>
    public static async Task<T> Comes<T>(Func<Task<T>> ask, Func<T, bool> willDo, string what, TimeSpan? within = null)
    {
        using var patience = new CancellationTokenSource(within ?? TimeSpan.FromSeconds(60));
        using var look = new PeriodicTimer(TimeSpan.FromMilliseconds(50));
        while (true)
        {
            if (await ask() is var answer && willDo(answer))
            {
                return answer;
            }

            try
            {
                await look.WaitForNextTickAsync(patience.Token);
            }
            catch (OperationCanceledException)
            {
                Assert.Fail($"still missing: {what}; the last answer was {answer}");
            }
        }
    }
}
