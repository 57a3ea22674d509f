using System.Text;
using Microsoft.Extensions.Logging.Abstractions;
using TankWatch.Core;
using TankWatch.Core.Findings;
using TankWatch.Service.Mail;
using TankWatch.Service.Own;
using TankWatch.Service.Sites;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Own;

/// <summary>The service's own message goes the whole way, and whichever stage it does not pass is named.</summary>
public sealed class SelfWatchTests
{
    private sealed class Way : IOwnUnit, IMailTransport, IAsyncDisposable
    {
        private readonly OutboxSender sender;
        private readonly Heartbeat heartbeat;
        private readonly SelfWatch watch;

        private Way(Rig rig, Uri? heartbeatUrl)
        {
            Rig = rig;
            heartbeat = new(new() { HeartbeatUrl = heartbeatUrl }, NullLogger<Heartbeat>.Instance);
            watch = new(rig.Ledger, rig.Directory, Ready, this, heartbeat, rig.Time, NullLogger<SelfWatch>.Instance);
            sender = new(rig.Ledger, rig.Composer, new OwnTransport(this, rig.Ledger, () => watch), rig.Bell, rig.Ready, rig.Metrics, rig.Traces, rig.Time, NullLogger<OutboxSender>.Instance);
        }

        public Rig Rig { get; }
        public ReadyState Ready { get; } = new();
        public bool BrokerAnswers { get; set; } = true;
        public bool IsTakenIn { get; set; } = true;
        public bool SenderRuns { get; set; } = true;
        public int Mails { get; private set; }

        public string? Late => Ready.Stages.Single(stage => stage.Name == "path").Reason;

        public static async Task<Way> OpenAsync(Uri? heartbeatUrl = null)
        {
            var rig = Rig.New();
            await rig.StartAsync();
            return new(rig, heartbeatUrl);
        }

        public async Task PassAsync(int minutes)
        {
            for (var i = 0; i < minutes; i++)
            {
                await watch.StepAsync(TestContext.Current.CancellationToken);
                for (var part = 0; part < 6; part++)
                {
                    await Rig.PassAsync(TimeSpan.FromSeconds(10), TimeSpan.FromSeconds(5));
                    if (SenderRuns)
                    {
                        await sender.SendDueAsync(TestContext.Current.CancellationToken);
                    }
                }
            }
        }

        public async Task SayAsync(string kind, string json, CancellationToken stop)
        {
            if (!BrokerAnswers)
            {
                throw new OwnUnitException("no answer");
            }

            if (IsTakenIn)
            {
                await Rig.Inbox.ReceiveAsync(new($"tankwatch/v1/{OwnSite.Unit}/{kind}", Encoding.UTF8.GetBytes(json), false, Rig.Time.GetUtcNow()), stop);
            }
        }

        public Task<string?> OpenAsync(CancellationToken stop) => Task.FromResult<string?>(null);

        public Task RestAsync() => Task.CompletedTask;

        public Task<MailOutcome> SendAsync(string key, MimeKit.MimeMessage message, CancellationToken stop)
        {
            Mails++;
            return Task.FromResult<MailOutcome>(new MailOutcome.Sent());
        }

        public async ValueTask DisposeAsync()
        {
            sender.Dispose();
            watch.Dispose();
            heartbeat.Dispose();
            await Rig.DisposeAsync();
        }
    }

    [Fact]
    public async Task Every_message_becomes_a_notice_within_minutes_and_nobody_else_hears_of_it()
    {
        await using var way = await Way.OpenAsync();
        await way.PassAsync(20);
        Assert.Null(way.Late);
        var own = way.Rig.Ledger.ListAlerts(new(SiteId.Own, null, FindingKind.OverflowRisk, null, null), null, 100);
        Assert.InRange(own.Count, 17, 20);
        Assert.All(own.Skip(3), alert => Assert.NotNull(alert.AcknowledgedAt));
        Assert.Empty(way.Rig.Ledger.ListAlerts(new(null, null, null, null, null), null, 100));
        Assert.Empty(way.Rig.Ledger.ListOutbox(null, 100));
        Assert.Empty(way.Rig.Directory.Sites);
        Assert.Empty(way.Rig.Ledger.ReadAlertLog(null, null, 0, 100).Events);
        Assert.Equal(0, way.Mails);
        await way.PassAsync(70);
        Assert.InRange(way.Rig.Ledger.ListAlerts(new(SiteId.Own, null, FindingKind.OverflowRisk, null, null), null, 1000).Count, 55, 66); // An hour of them, and no more.
    }

    [Fact]
    public async Task Whichever_stage_it_does_not_pass_is_named_and_all_is_well_again_when_it_does()
    {
        await using var way = await Way.OpenAsync();
        await way.PassAsync(6);
        Assert.Null(way.Late);
        way.BrokerAnswers = false;
        await way.PassAsync(6);
        Assert.EndsWith("was not acknowledged by the broker", way.Late, StringComparison.Ordinal);
        way.BrokerAnswers = true;
        await way.PassAsync(12);
        Assert.Null(way.Late);
        way.IsTakenIn = false;
        await way.PassAsync(6);
        Assert.EndsWith("is stored, and was not judged", way.Late, StringComparison.Ordinal);
        way.IsTakenIn = true;
        await way.PassAsync(12);
        Assert.Null(way.Late);
        way.SenderRuns = false;
        await way.PassAsync(6);
        Assert.EndsWith("raised an alert, and no notice of it was sent", way.Late, StringComparison.Ordinal);
        way.SenderRuns = true;
        await way.PassAsync(8);
        Assert.Null(way.Late);
    }

    [Fact]
    public async Task The_heartbeat_is_left_out_while_anything_is_late()
    {
        await using var watcher = await Webhooks.Target.StartAsync();
        await using var way = await Way.OpenAsync(new(watcher.Url));
        await way.PassAsync(5);
        Assert.Equal(5, watcher.Requests.Count);
        way.BrokerAnswers = false;
        await way.PassAsync(10);
        Assert.InRange(watcher.Requests.Count, 7, 9); // Four minutes of patience.
    }

    [Fact]
    public async Task Nobody_else_may_have_its_name()
    {
        await using var rig = Rig.New();
        var json = SampleSite.Json(SiteId.Own.Value);
        Assert.Equal("the id tankwatch-itself is this service's own", rig.Ledger.PutSite(SampleSite.Plan(json), json));
    }
}
