using System.Diagnostics;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Time;
using TankWatch.Service.Mail;
using TankWatch.Service.Storage;
using TankWatch.Service.Storage.Series;

namespace TankWatch.Service.Sites;

/// <summary>
/// The spans between a message and the mail that it causes. An ordinary message makes none: there is one for each group commit, one for
/// each change of an alert and one for each try to send a mail. While nobody listens none is made, and nothing is remembered.
/// </summary>
/// <remarks>
/// A commit is the parent of what its messages cause, however long after: one trace leads from the mail back to the message. Names of
/// attributes are those of OpenTelemetry's conventions for messaging where they have one.
/// </remarks>
public sealed class MessageTraces : IDisposable
{
    public const string SourceName = "TankWatch";

    private readonly Dictionary<SiteId, Dictionary<string, Origin>> origins = [];

    internal ActivitySource Source { get; } = new(SourceName);

    public void Dispose() => Source.Dispose();

    /// <returns>To be disposed of when the batch is durable; null when nobody wants it.</returns>
    internal Activity? StartCommit(MessageBatch batch) => Source.StartActivity(ActivityKind.Consumer, name: "journal commit")
        ?.SetTag("messaging.system", "mqtt").SetTag("messaging.operation.name", "commit").SetTag("messaging.operation.type", "process")
        .SetTag("messaging.batch.message_count", batch.Accepted.Count + batch.Refused.Count).SetTag("tankwatch.messages.refused", batch.Refused.Count);

    /// <summary>Remembers the newest message about each device, for what it may cause later.</summary>
    internal void Committed(Activity? commit, StagedBatch staged, IReadOnlyList<JournalEntry> entries)
    {
        commit?.SetTag("tankwatch.messages.new", staged.Rows.Count).SetTag("tankwatch.messages.duplicate", entries.Count - staged.Rows.Count);
        if (!Source.HasListeners())
        {
            return;
        }

        for (var i = 0; i < entries.Count; i++)
        {
            if (staged.IsNew[i])
            {
                var (site, device) = (entries[i].Plan.Id, entries[i].Stream.Device);
                var ofSite = origins.TryGetValue(site, out var known) ? known : origins[site] = [];
                ofSite[device.Length > 0 ? device : entries[i].Unit.Value] = Origin.Of(entries[i], commit);
            }
        }
    }

    internal void Forget(IEnumerable<SiteId> gone)
    {
        foreach (var site in gone)
        {
            origins.Remove(site);
        }
    }

    /// <returns>To be disposed of when the events are saved; null when there is nothing to say, or nobody who wants to hear it.</returns>
    internal AlertSpans? StartEvents(IReadOnlyList<SiteWrites> writes)
    {
        if (!Source.HasListeners())
        {
            return null;
        }

        var spans = new AlertSpans();
        foreach (var made in writes)
        {
            foreach (var happened in made.Events)
            {
                spans.Add(happened.AlertId, StartEvent(happened, made.Alerts.First(alert => alert.Id == happened.AlertId), spans));
            }
        }

        return spans;
    }

    /// <returns>To be disposed of when the outcome is known; null when nobody wants it.</returns>
    internal Activity? StartMail(OutboxEntry entry)
    {
        ActivityContext.TryParse(entry.Trace, null, isRemote: true, out var cause);
        return Source.StartActivity(ActivityKind.Producer, cause, name: "mail sent", tags:
        [
            new("messaging.system", "smtp"), new("messaging.operation.name", "send"), new("messaging.operation.type", "send"),
            new("messaging.message.id", entry.Mail.MessageId), new("tankwatch.alert.id", (entry.Mail as OutboxLetter)?.Notification.Alert.Id),
            new("tankwatch.site", (entry.Mail as OutboxLetter)?.Notification.Alert.Site.Value), new("tankwatch.mail.attempt", entry.Attempts + 1),
        ]);
    }

    /// <summary>A try that failed says what kind of failure it was; the words, which may name people, stay in the log.</summary>
    internal static void Settle(Activity? mail, MailOutcome outcome)
    {
        if (outcome is not MailOutcome.Sent)
        {
            mail?.SetStatus(ActivityStatusCode.Error).SetTag("error.type", outcome is MailOutcome.GiveUp ? "given-up" : "try-later");
        }
    }

    private Activity? StartEvent(AlertEvent happened, Alert alert, AlertSpans before)
    {
        var origin = happened is AlertRaised or AlertReraised or AlertReturned or AlertCorrected or AlertReworded or AlertNotified ? OriginOf(alert) : null;
        List<KeyValuePair<string, object?>> tags =
        [
            new("tankwatch.site", alert.Site.Value), new("tankwatch.alert.id", alert.Id), new("tankwatch.finding.kind", FindingNames.Of(alert.Finding.Kind)),
            new("tankwatch.finding.device", alert.Finding.Device.Value),
        ];
        if (origin is not null)
        {
            tags.AddRange([
                new("tankwatch.unit", origin.Unit), new("tankwatch.message.at", Rfc3339.Format(origin.At)),
                new("tankwatch.message.received_at", Rfc3339.Format(origin.ReceivedAt))]);
        }

        Activity.Current = null; // What another alert does is no cause of this one.
        var span = Source.StartActivity(
            ActivityKind.Internal, before.Last(alert.Id)?.Context ?? origin?.Commit ?? default, tags, origin?.Publisher is { } publisher ? [new(publisher)] : null,
            name: $"alert {StoredJson.NameOf(happened)}");
        Activity.Current = null;
        return span;
    }

    /// <summary>The message at whose time the rule decided; when time alone decided, the last word about the device.</summary>
    private Origin? OriginOf(Alert alert)
    {
        if (!origins.TryGetValue(alert.Site, out var known))
        {
            return null;
        }

        var decided = alert.Finding.ClearedAt ?? alert.Finding.RaisedAt;
        var about = known.GetValueOrDefault(alert.Finding.Device.Value);
        return about?.At == decided ? about : known.Values.FirstOrDefault(origin => origin.At == decided) ?? about;
    }

    /// <summary>A message that may cause something.</summary>
    private sealed record Origin(ActivityContext Commit, ActivityContext? Publisher, string Unit, DateTimeOffset At, DateTimeOffset ReceivedAt)
    {
        public static Origin Of(JournalEntry entry, Activity? commit)
        {
            var stamp = entry.Accepted.Seen.Stamp;
            var isKnown = ActivityContext.TryParse(entry.Trace, null, isRemote: true, out var publisher);
            return new(commit?.Context ?? default, isKnown ? publisher : null, stamp.Unit.Value, stamp.At, stamp.ReceivedAt);
        }
    }
}

/// <summary>The spans of what one step does to alerts; of two about one alert, the second is the child of the first.</summary>
internal sealed class AlertSpans : IDisposable
{
    private readonly List<Activity> all = [];
    private readonly Dictionary<string, Activity> last = [];

    public void Add(string alertId, Activity? span)
    {
        if (span is not null)
        {
            all.Add(span);
            last[alertId] = span;
        }
    }

    public Activity? Last(string alertId) => last.GetValueOrDefault(alertId);

    /// <summary>Nothing of it was kept.</summary>
    public void Fail() => all.ForEach(span => span.SetStatus(ActivityStatusCode.Error));

    public void Dispose() => all.ForEach(span => span.Dispose());
}
