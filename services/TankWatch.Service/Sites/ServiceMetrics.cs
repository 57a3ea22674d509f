using System.Diagnostics.Metrics;
using TankWatch.Core.Alerts;
using TankWatch.Core.FieldMessages;
using TankWatch.Core.Findings;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Sites;

/// <summary>What the service counts of itself. Labels come from closed lists, so that no stranger can make series.</summary>
public sealed class ServiceMetrics
{
    public const string MeterName = "TankWatch";

    private readonly Counter<long> received;
    private readonly Counter<long> accepted;
    private readonly Counter<long> duplicate;
    private readonly Counter<long> refused;
    private readonly Counter<long> findings;
    private readonly Counter<long> alertEvents;
    private readonly Counter<long> sent;
    private readonly Counter<long> failed;
    private readonly Counter<long> pushed;
    private readonly Counter<long> webhooksSent;
    private readonly Counter<long> webhooksFailed;
    private readonly Counter<long> judgementFaults;
    private readonly Histogram<double> commit;

    public ServiceMetrics(IMeterFactory meters, SiteInbox inbox)
    {
        var meter = meters.Create(MeterName);
        received = meter.CreateCounter<long>("tankwatch_messages_received", description: "Messages handed over by a broker.");
        accepted = meter.CreateCounter<long>("tankwatch_messages_accepted", description: "Messages, or elements of a backlog, taken for the first time.");
        duplicate = meter.CreateCounter<long>("tankwatch_messages_duplicate", description: "Messages that had been taken before.");
        refused = meter.CreateCounter<long>("tankwatch_messages_refused", description: "Messages that could not be taken, by reason.");
        findings = meter.CreateCounter<long>("tankwatch_findings", description: "Findings that became alerts, by kind.");
        alertEvents = meter.CreateCounter<long>("tankwatch_alert_events", description: "Changes in the life of alerts, by type.");
        sent = meter.CreateCounter<long>("tankwatch_notifications_sent", description: "Mails handed over.");
        failed = meter.CreateCounter<long>("tankwatch_notifications_failed", description: "Tries to send a mail that failed, by outcome.");
        pushed = meter.CreateCounter<long>("tankwatch_pushes_sent", description: "Letters that went to at least one browser.");
        webhooksSent = meter.CreateCounter<long>("tankwatch_webhooks_sent", description: "Events of alerts that a target of a webhook took.");
        webhooksFailed = meter.CreateCounter<long>("tankwatch_webhooks_failed", description: "Tries that a target of a webhook did not take, by outcome.");
        meter.CreateObservableGauge("tankwatch_webhooks_open_circuits", () => OpenCircuits, description: "Targets of webhooks that failed several times in a row.");
        judgementFaults = meter.CreateCounter<long>("tankwatch_judgement_faults", description: "Sites whose judgement failed and was built anew.");
        commit = meter.CreateHistogram<double>("tankwatch_commit", "ms", "Time to make a batch durable.");
        meter.CreateObservableGauge("tankwatch_inbox_depth", () => inbox.Depth, description: "Messages waiting to be made durable.");
    }

    /// <summary>Targets of webhooks that failed several times in a row.</summary>
    public int OpenCircuits { get; set; }

    public void Received(long count) => received.Add(count);
    public void Accepted(long count) => accepted.Add(count);
    public void Duplicate(long count) => duplicate.Add(count);
    public void Refused(RefusalReason reason) => refused.Add(1, new KeyValuePair<string, object?>("reason", RefusalNames.Of(reason)));
    public void Committed(TimeSpan took) => commit.Record(took.TotalMilliseconds);
    public void JudgementFault() => judgementFaults.Add(1);
    public void NotificationSent() => sent.Add(1);
    public void PushSent() => pushed.Add(1);
    public void WebhookSent() => webhooksSent.Add(1);
    public void WebhookFailed(string outcome) => webhooksFailed.Add(1, new KeyValuePair<string, object?>("outcome", outcome));
    public void NotificationFailed(string outcome) => failed.Add(1, new KeyValuePair<string, object?>("outcome", outcome));

    public void Happened(IEnumerable<AlertEvent> events)
    {
        foreach (var happened in events)
        {
            alertEvents.Add(1, new KeyValuePair<string, object?>("type", StoredJson.NameOf(happened)));
            if (happened is AlertRaised raised)
            {
                findings.Add(1, new KeyValuePair<string, object?>("kind", FindingNames.Of(raised.Finding.Kind)));
            }
        }
    }
}
