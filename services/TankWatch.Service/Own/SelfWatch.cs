using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Own;

/// <summary>Hands a message of the made-up unit to the broker, as any unit would.</summary>
internal interface IOwnUnit
{
    /// <summary>Completes when the broker has acknowledged it.</summary>
    /// <exception cref="OwnUnitException">It did not.</exception>
    Task SayAsync(string kind, string json, CancellationToken stop);
}

/// <param name="message">Why, in one line.</param>
internal sealed class OwnUnitException(string message) : Exception(message);

/// <summary>
/// Sends a message the whole way every minute, from the broker to a notice, and knows at which stage one is late. What a probe of a port
/// cannot see it sees: a judgement that hangs, an outbox that nobody empties.
/// </summary>
internal sealed partial class SelfWatch(
    LedgerStore ledger, SiteDirectory directory, ReadyState ready, IOwnUnit unit, Heartbeat heartbeat, TimeProvider time, ILogger<SelfWatch> logger) : BackgroundService
{
    public static readonly TimeSpan Every = TimeSpan.FromMinutes(1);

    /// <summary>An alert is raised after a minute at the next look, two minutes after the message at the latest; one more is late.</summary>
    public static readonly TimeSpan Patience = TimeSpan.FromMinutes(4);

    private static readonly TimeSpan Kept = TimeSpan.FromHours(1);

    private readonly Lock changing = new();

    /// <summary>What is under way, oldest first.</summary>
    private readonly List<Sent> under = [];

    private int turn;
    private bool isReady;

    /// <summary>A notice has come to its end.</summary>
    /// <param name="alert">As it stood.</param>
    /// <param name="reason">Why it was told.</param>
    public void Arrived(Alert alert, NotifyReason reason)
    {
        if (alert.Finding.Kind == FindingKind.OverflowRisk && reason == NotifyReason.Opened)
        {
            lock (changing)
            {
                under.RemoveAll(sent => OwnSite.Pump(sent.Turn) == alert.Finding.Device.Value && sent.At <= alert.Finding.RaisedAt);
            }

            _ = directory.TellAsync(new Acknowledge(alert.Id, SiteId.Own.Value, null), CancellationToken.None); // Or the next of this pump would be the same alert.
        }
    }

    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        ready.Set(Stage.Path, null);
        using var timer = new PeriodicTimer(Every, time);
        try
        {
            while (await timer.WaitForNextTickAsync(stoppingToken))
            {
                await StepAsync(stoppingToken);
            }
        }
        catch (OperationCanceledException)
        {
            // Going down.
        }
    }

    /// <summary>A minute's work: one pump stops, the next runs, and what is late is named.</summary>
    internal async Task StepAsync(CancellationToken stop)
    {
        var now = time.GetUtcNow();
        try
        {
            lock (changing)
            {
                under.Add(new(turn, now, false));
            }

            await SettleInAsync(now, stop);
            await SayAsync(OwnSite.Run((turn + OwnSite.Pumps - 2) % OwnSite.Pumps, running: false, now), stop);
            await SayAsync(OwnSite.Run(turn, running: true, now), stop);
            lock (changing)
            {
                under[^1] = under[^1] with { IsAcknowledged = true };
            }

            turn = (turn + 1) % OwnSite.Pumps;
        }
        catch (Exception fault) when (fault is OwnUnitException or StoreException or Microsoft.Data.Sqlite.SqliteException)
        {
            LogFailed(Database.OneLine(fault));
        }

        var late = Late(now);
        ready.Set(Stage.Path, late);
        if (late is null)
        {
            await heartbeat.BeatAsync(stop);
        }
    }

    private Task SayAsync((string Kind, string Json) message, CancellationToken stop) => unit.SayAsync(message.Kind, message.Json, stop);

    /// <summary>Puts the made-up site in the store, once, and deletes what it no longer needs.</summary>
    private async Task SettleInAsync(DateTimeOffset now, CancellationToken stop)
    {
        if (ledger.FindSite(SiteId.Own)?.Json != OwnSite.Json)
        {
            _ = ledger.PutSite(OwnSite.Plan, OwnSite.Json);
            await directory.RefreshAsync(stop);
        }

        for (var i = 0; i < OwnSite.Pumps && !isReady; i++)
        {
            await SayAsync(OwnSite.Full(i, now), stop);
            await SayAsync(OwnSite.Run(i, running: false, now), stop);
        }

        isReady = true;
        ledger.DeleteAlertsBefore(SiteId.Own, now - Kept);
    }

    /// <returns>Which stage is late with what, in one line; null when nothing is.</returns>
    private string? Late(DateTimeOffset now)
    {
        Sent? oldest;
        lock (changing)
        {
            oldest = under.Count > 0 ? under[0] : null;
        }

        if (oldest is not { } sent || now - sent.At < Patience)
        {
            return null;
        }

        var said = $"the test message of {sent.At:HH:mm:ss} UTC";
        if (!sent.IsAcknowledged)
        {
            return $"{said} was not acknowledged by the broker";
        }

        var alert = ledger.ListAlerts(new(SiteId.Own, null, FindingKind.OverflowRisk, sent.At, null), null, 100).FirstOrDefault(a => a.Finding.Device.Value == OwnSite.Pump(sent.Turn));
        return alert is null ? $"{said} is stored, and was not judged" : $"{said} raised an alert, and no notice of it was sent";
    }

    /// <param name="Turn">Which pump.</param>
    /// <param name="At">When it was sent, UTC.</param>
    /// <param name="IsAcknowledged">By the broker.</param>
    private readonly record struct Sent(int Turn, DateTimeOffset At, bool IsAcknowledged);

    [LoggerMessage(Level = LogLevel.Warning, Message = "the service's own test message was not taken: {Reason}")]
    private partial void LogFailed(string reason);
}
