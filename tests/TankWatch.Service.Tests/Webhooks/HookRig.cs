using Microsoft.Extensions.DependencyInjection;
using Microsoft.Extensions.Logging.Abstractions;
using Microsoft.Extensions.Options;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Service.Api;
using TankWatch.Service.Configuration;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.Sites;
using TankWatch.Service.Tests.Storage;
using TankWatch.Service.Webhooks;
using Xunit;
using JsonOptions = Microsoft.AspNetCore.Http.Json.JsonOptions;

namespace TankWatch.Service.Tests.Webhooks;

/// <summary>Webhooks on a store of their own, and one alert to which something happens when the test says so.</summary>
internal sealed class HookRig : IAsyncDisposable
{
    private readonly WebhookOptions options;
    private readonly WebhookMessages messages = new(Json());
    private readonly WebhookPlaces places = new();
    private readonly WebhookCaller caller;
    private readonly Rig rig;
    private Alert alert;

    private HookRig(Rig rig, Alert alert, WebhookOptions options)
    {
        (this.rig, this.alert, this.options) = (rig, alert, options);
        caller = new(options, rig.Time);
    }

    public LedgerStore Ledger => rig.Ledger;

    public DateTimeOffset Now => rig.Time.GetUtcNow();

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    /// <param name="time">Null for a clock that only the test turns.</param>
    /// <param name="options">Null for such as let targets be on this machine.</param>
    public static HookRig New(TimeProvider? time = null, WebhookOptions? options = null)
    {
        var rig = Rig.New(time);
        var alert = StoredJsonTests.SampleAlert() with { Events = 1 };
        Assert.Null(rig.Put(SampleSite.Json(alert.Site.Value)));
        rig.Database.Write(connection => LedgerStore.Append(connection, [alert], [new AlertRaised(alert.Id, alert.CreatedAt, alert.Site, alert.Finding)]));
        return new(rig, alert, options ?? new() { AllowHttp = true, AllowPrivateTargets = true });
    }

    /// <summary>The same store, after the process ended.</summary>
    public async Task<HookRig> AgainAsync()
    {
        await rig.StopAsync();
        return new(rig.Again(), alert, options);
    }

    public Webhook Add(Target target, SiteId? site = null) => Add(target.Url, site);

    public Webhook Add(string url, SiteId? site = null)
    {
        var id = $"wh_{Ledger.ListWebhooks().Count + 1}";
        Assert.Null(Ledger.AddWebhook(id, url, site, WebhookSignature.NewSecret(), rig.Time.GetUtcNow()));
        return Ledger.FindWebhook(id)!;
    }

    /// <summary>Of a new site.</summary>
    public Webhook AddWithSite(string site, Target target)
    {
        Assert.Null(rig.Put(SampleSite.Json(site, "fu-9")));
        return Add(target, new(site));
    }

    public WebhookWorker Worker(Webhook hook) =>
        new(hook.Id, Ledger, messages, caller, places, rig.AlertBell, rig.Metrics, rig.Time, NullLogger.Instance);

    public WebhookSender Sender() =>
        new(Ledger, messages, caller, places, rig.AlertBell, rig.Metrics, rig.Time, NullLogger<WebhookSender>.Instance);

    /// <summary>Writes over all events of the alert, as a fault of a disk might.</summary>
    public void Overwrite(string with) => rig.Database.Write(connection => connection.Execute("UPDATE alert_events SET json = ?1 WHERE type = 'noted'", with));

    /// <returns>The newest event, as it stands.</returns>
    public string Newest() => rig.Database.Read(connection => (string)connection.Scalar("SELECT json FROM alert_events ORDER BY n DESC LIMIT 1")!);

    /// <summary>Adds notes to the alert: one event each.</summary>
    public void Note(params string[] notes)
    {
        foreach (var note in notes)
        {
            alert = alert with { Events = alert.Events + 1 };
            rig.Database.Write(connection => LedgerStore.Append(connection, [alert], [new AlertNoted(alert.Id, rig.Time.GetUtcNow(), "Meera", note)]));
        }

        rig.AlertBell.Ring();
    }

    public void Pass(TimeSpan time) => rig.Clock.Advance(time);

    /// <summary>Takes steps until the target has nothing to wait for but the clock, or news.</summary>
    /// <returns>The last one; null when the target is gone or disabled.</returns>
    public static async Task<WebhookStep?> DrainAsync(WebhookWorker worker)
    {
        WebhookStep? step;
        do
        {
            step = await worker.StepAsync(Stop);
        }
        while (step?.Wait == TimeSpan.Zero);
        return step;
    }

    /// <summary>Lets the time pass that the worker waits for, and drains again.</summary>
    public async Task<WebhookStep?> RetryAsync(WebhookWorker worker)
    {
        Pass((await worker.StepAsync(Stop))!.Wait);
        return await DrainAsync(worker);
    }

    public async ValueTask DisposeAsync()
    {
        caller.Dispose();
        places.Dispose();
        await rig.DisposeAsync();
    }

    private static IOptions<JsonOptions> Json() =>
        new ServiceCollection().AddApi().BuildServiceProvider().GetRequiredService<IOptions<JsonOptions>>();
}
