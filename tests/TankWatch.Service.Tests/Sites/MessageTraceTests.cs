using System.Collections.Concurrent;
using System.Diagnostics;
using Microsoft.Extensions.Logging.Abstractions;
using TankWatch.Core.Notifications;
using TankWatch.Service.Configuration;
using TankWatch.Service.Mail;
using TankWatch.Service.Sites;
using TankWatch.Service.Tests.Mail;
using Xunit;

namespace TankWatch.Service.Tests.Sites;

public sealed class MessageTraceTests
{
    /// <summary>The example of W3C Trace Context, 3.2.4. [M]</summary>
    private const string Publisher = "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01";

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    [Fact]
    public async Task One_trace_leads_from_the_mail_back_to_the_message_also_over_a_restart()
    {
        await using var rig = await Rig.RunningAsync();
        using var heard = new Heard(rig.Traces);
        var sentAt = rig.Time.GetUtcNow();
        await rig.FailPowerAsync(trace: Publisher);
        await rig.StopAsync();

        await using var again = rig.Again();
        using var heardAgain = new Heard(again.Traces);
        await SendDueAsync(again, new PickupTransport(new MailOptions(), new DataOptions { Path = again.Folder }));

        var commit = Assert.Single(heard.Spans, span => span.OperationName == "journal commit");
        Assert.Equal((1, 0, 1, 0), (commit.GetTagItem("messaging.batch.message_count"), commit.GetTagItem("tankwatch.messages.refused"),
            commit.GetTagItem("tankwatch.messages.new"), commit.GetTagItem("tankwatch.messages.duplicate")));
        var raised = Assert.Single(heard.Spans, span => span.OperationName == "alert raised");
        Assert.Equal(commit.Id, raised.ParentId);
        Assert.Equal(Publisher, Traceparent(Assert.Single(raised.Links).Context));
        Assert.Equal(("alder-row", "power-failure", "fu-1"), (raised.GetTagItem("tankwatch.site"), raised.GetTagItem("tankwatch.finding.kind"), raised.GetTagItem("tankwatch.unit")));
        var time = Core.Time.Rfc3339.Format(sentAt);
        Assert.Equal((time, time), (raised.GetTagItem("tankwatch.message.at"), raised.GetTagItem("tankwatch.message.received_at")));
        var notified = Assert.Single(heard.Spans, span => span.OperationName == "alert notified");
        Assert.Equal(raised.Id, notified.ParentId);
        var mail = Assert.Single(heardAgain.Spans);
        Assert.Equal(("mail sent", notified.Id, commit.TraceId, ActivityStatusCode.Unset), (mail.OperationName, mail.ParentId, mail.TraceId, mail.Status));
        Assert.Equal(again.Ledger.ListOutbox(null, 1)[0].Letter.MessageId, mail.GetTagItem("messaging.message.id"));
        Assert.Equal(raised.GetTagItem("tankwatch.alert.id"), mail.GetTagItem("tankwatch.alert.id"));
    }

    [Fact]
    public async Task The_message_that_decided_is_the_cause_and_not_a_later_one()
    {
        await using var rig = await Rig.RunningAsync();
        using var heard = new Heard(rig.Traces);
        await rig.SendAsync("supply", SampleSite.Supply(rig.Time.GetUtcNow(), mains: false, 1), trace: Publisher);
        await rig.SendAsync("level", SampleSite.Level(rig.Time.GetUtcNow(), "roof", "110", 2));
        await rig.PassAsync(TimeSpan.FromMinutes(2));
        Assert.Equal(Publisher, Traceparent(Assert.Single(Assert.Single(heard.Spans, span => span.OperationName == "alert raised").Links).Context));
    }

    [Fact]
    public async Task An_ordinary_message_has_no_span_of_its_own()
    {
        await using var rig = await Rig.RunningAsync();
        using var heard = new Heard(rig.Traces);
        await Task.WhenAll(Enumerable.Range(1, 500).Select(seq => rig.SendAsync("level", SampleSite.Level(rig.Time.GetUtcNow(), "roof", "110", seq), trace: Publisher)));
        await rig.PassAsync(TimeSpan.FromMinutes(1));
        Assert.All(heard.Spans, span => Assert.Equal("journal commit", span.OperationName));
        Assert.Equal(500, heard.Spans.Sum(span => (int)span.GetTagItem("tankwatch.messages.new")!));
    }

    [Fact]
    public async Task Nobody_listens_and_nothing_is_made()
    {
        await using var rig = await Rig.RunningAsync();
        await rig.FailPowerAsync(trace: Publisher);
        Assert.Null(rig.Traces.StartCommit(new()));
        using var heard = new Heard(rig.Traces); // Too late: nothing was remembered of what came before.
        await rig.RestorePowerAsync(2);
        var entries = rig.Ledger.ListOutbox(null, 10);
        Assert.Equal([NotifyReason.Cleared, NotifyReason.Opened], entries.Select(entry => entry.Letter.Notification.Reason));
        Assert.Null(entries[1].Trace);
        Assert.NotNull(entries[0].Trace);
        Assert.All(heard.Spans, span => Assert.Empty(span.Links));
    }

    [Fact]
    public async Task What_a_person_does_to_an_alert_has_a_trace_of_its_own()
    {
        await using var rig = await Rig.RunningAsync();
        using var heard = new Heard(rig.Traces);
        await rig.FailPowerAsync(trace: Publisher);
        var alert = Assert.Single(rig.Directory.Find(new("alder-row"))!.OpenAlerts);
        await rig.Directory.TellAsync(new Core.Acknowledge(alert.Id, "somebody", null), Stop);
        var acknowledged = Assert.Single(heard.Spans, span => span.OperationName == "alert acknowledged");
        Assert.Equal((null, true), (acknowledged.ParentId, !acknowledged.Links.Any()));
    }

    [Fact]
    public async Task A_mail_that_does_not_go_says_so_and_names_nobody()
    {
        await using var rig = Rig.New();
        using var heard = new Heard(rig.Traces);
        Letters.Post(rig, Letters.Letter(rig));
        await using var server = new MailServer().Start();
        server.Answer = _ => new SmtpServer.Protocol.SmtpResponse(SmtpServer.Protocol.SmtpReplyCode.InsufficientStorage, "no room for caretaker@example.org");
        using var transport = new SmtpTransport(new MailOptions { SmtpHost = "127.0.0.1", SmtpPort = server.Port });
        await SendDueAsync(rig, transport);
        var mail = Assert.Single(heard.Spans);
        Assert.Equal((ActivityStatusCode.Error, null, "try-later"), (mail.Status, mail.StatusDescription, mail.GetTagItem("error.type")));
        Assert.DoesNotContain(mail.TagObjects, tag => $"{tag.Value}".Contains("caretaker", StringComparison.Ordinal));
    }

    private static async Task SendDueAsync(Rig rig, IMailTransport transport)
    {
        using var sender = new OutboxSender(
            rig.Ledger, rig.Composer, transport, rig.Bell, rig.Ready, rig.Metrics, rig.Traces, rig.Time, NullLogger<OutboxSender>.Instance);
        await sender.SendDueAsync(Stop);
    }

    private static string Traceparent(ActivityContext context) => $"00-{context.TraceId}-{context.SpanId}-{(byte)context.TraceFlags:x2}";

    /// <summary>Listens to the spans of one rig.</summary>
    private sealed class Heard : IDisposable
    {
        private readonly ActivityListener listener;

        public Heard(MessageTraces traces)
        {
            listener = new()
            {
                ShouldListenTo = source => ReferenceEquals(source, traces.Source),
                Sample = (ref ActivityCreationOptions<ActivityContext> _) => ActivitySamplingResult.AllDataAndRecorded,
                ActivityStopped = Spans.Enqueue,
            };
            ActivitySource.AddActivityListener(listener);
        }

        public ConcurrentQueue<Activity> Spans { get; } = [];

        public void Dispose() => listener.Dispose();
    }
}
