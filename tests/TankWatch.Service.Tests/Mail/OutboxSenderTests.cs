using Microsoft.Extensions.Logging.Abstractions;
using MimeKit;
using SmtpServer.Protocol;
using TankWatch.Core.Notifications;
using TankWatch.Service.Configuration;
using TankWatch.Service.Mail;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Mail;

public sealed class OutboxSenderTests
{
    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    [Fact]
    public async Task A_mail_is_sent_once_and_marked()
    {
        await using var rig = Rig.New();
        await using var server = new MailServer().Start();
        Letters.Post(rig, Letters.Letter(rig));
        using var sender = Sender(rig, Smtp(server));
        await sender.SendDueAsync(Stop);
        await sender.SendDueAsync(Stop);
        var mail = Assert.Single(server.Offered);
        var entry = Assert.Single(rig.Ledger.ListOutbox(null, 10));
        Assert.Equal((entry.Letter.MessageId, rig.Time.GetUtcNow(), 1), (mail.MessageId, entry.SentAt!.Value, entry.Attempts));
        Assert.Null(rig.Ledger.FindNextAttempt());
    }

    [Fact]
    public async Task A_thread_keeps_together_on_the_wire()
    {
        await using var rig = Rig.New();
        await using var server = new MailServer().Start();
        Letters.Post(rig, Letters.Letter(rig, "a1.1"), Letters.Letter(rig, "a1.2", NotifyReason.Cleared, thread: "a1.1"));
        using var sender = Sender(rig, Smtp(server));
        await sender.SendDueAsync(Stop);
        var mails = server.Offered.ToArray();
        Assert.Equal(mails[0].MessageId, mails[1].InReplyTo);
        Assert.Equal([mails[0].MessageId!], mails[1].References);
    }

    [Fact]
    public async Task A_passing_refusal_is_tried_again_under_the_same_message_id_ever_less_often()
    {
        await using var rig = Rig.New();
        await using var server = new MailServer().Start();
        server.Answer = _ => new SmtpResponse(SmtpReplyCode.InsufficientStorage, "later, please");
        Letters.Post(rig, Letters.Letter(rig));
        using var sender = Sender(rig, Smtp(server));
        await sender.SendDueAsync(Stop);
        Assert.Contains("452 later, please", Assert.Single(rig.Ledger.ListOutbox(null, 10)).LastError, StringComparison.Ordinal);
        rig.Clock.Advance(TimeSpan.FromSeconds(29));
        await sender.SendDueAsync(Stop);
        Assert.Single(server.Offered);
        rig.Clock.Advance(TimeSpan.FromSeconds(1));
        server.Answer = _ => SmtpResponse.Ok;
        await sender.SendDueAsync(Stop);
        Assert.Equal(2, server.Offered.Count);
        Assert.Single(server.Offered.Select(mail => mail.MessageId).Distinct());
        Assert.NotNull(Assert.Single(rig.Ledger.ListOutbox(null, 10)).SentAt);
    }

    [Fact]
    public void The_waits_double_from_thirty_seconds_to_an_hour() => Assert.Equal(
        [30, 60, 120, 240, 480, 960, 1920, 3600, 3600, 3600],
        Enumerable.Range(1, 9).Append(1000).Select(failures => (int)OutboxSender.WaitAfter(failures).TotalSeconds));

    [Fact]
    public async Task A_lasting_refusal_is_given_up_and_the_next_mail_goes()
    {
        await using var rig = Rig.New();
        await using var server = new MailServer().Start();
        server.Answer = mail => mail.To.ToString().Contains("gone", StringComparison.Ordinal)
            ? new SmtpResponse(SmtpReplyCode.MailboxUnavailable, "no such person") : SmtpResponse.Ok;
        Letters.Post(rig, Letters.Letter(rig, "a1.1", email: "gone@example.org"), Letters.Letter(rig, "a1.2"));
        using var sender = Sender(rig, Smtp(server));
        await sender.SendDueAsync(Stop);
        var entries = rig.Ledger.ListOutbox(null, 10);
        Assert.NotNull(entries[1].AbandonedAt);
        Assert.Contains("550", entries[1].LastError, StringComparison.Ordinal);
        Assert.NotNull(entries[0].SentAt);
        rig.Clock.Advance(TimeSpan.FromDays(1));
        await sender.SendDueAsync(Stop);
        Assert.Equal(2, server.Offered.Count);
    }

    [Fact]
    public async Task A_server_that_is_away_holds_all_mails_shows_why_and_is_given_up_after_four_days()
    {
        await using var rig = Rig.New();
        Letters.Post(rig, Letters.Letter(rig, "a1.1"), Letters.Letter(rig, "a1.2"));
        using var sender = Sender(rig, new SmtpTransport(new MailOptions { SmtpHost = "127.0.0.1", SmtpPort = MailServer.FreePort() }));
        await sender.SendDueAsync(Stop);
        Assert.All(rig.Ledger.ListOutbox(null, 10), entry => Assert.Equal((0, null, WaitReason.Outage), (entry.Attempts, entry.SentAt, entry.WaitedFor)));
        var stage = rig.Ready.Stages.Single(stage => stage.Name == "mail");
        Assert.Contains("cannot be used", stage.Reason, StringComparison.Ordinal);
        Assert.False(stage.Essential);
        rig.Clock.Advance(TimeSpan.FromDays(4));
        await sender.SendDueAsync(Stop);
        Assert.All(rig.Ledger.ListOutbox(null, 10), entry => Assert.NotNull(entry.AbandonedAt));
    }

    [Fact]
    public async Task A_repeat_after_a_crash_carries_the_same_message_id()
    {
        await using var rig = Rig.New();
        await using var server = new MailServer().Start();
        Letters.Post(rig, Letters.Letter(rig));
        using var sender = Sender(rig, Smtp(server));
        await sender.SendDueAsync(Stop);
        rig.Database.Write(c => c.Execute("UPDATE outbox SET sent_at = NULL, next_attempt = created")); // As if our note of it had been lost.
        await sender.SendDueAsync(Stop);
        Assert.Equal(2, server.Offered.Count);
        Assert.Single(server.Offered.Select(mail => mail.MessageId).Distinct());
    }

    [Fact]
    public async Task Without_a_server_mails_are_files_and_a_repeat_replaces_its_file()
    {
        await using var rig = Rig.New();
        Letters.Post(rig, Letters.Letter(rig, "a1.1"), Letters.Letter(rig, "../../etc/passwd"));
        var pickup = new PickupTransport(new MailOptions(), new DataOptions { Path = rig.Folder });
        using var sender = Sender(rig, pickup);
        await sender.SendDueAsync(Stop);
        rig.Database.Write(c => c.Execute("UPDATE outbox SET sent_at = NULL, next_attempt = created"));
        await sender.SendDueAsync(Stop);
        var files = Directory.GetFiles(Path.Combine(rig.Folder, "mail"));
        Assert.Equal(2, files.Length);
        Assert.All(files, file => Assert.EndsWith(".eml", file, StringComparison.Ordinal));
        Assert.Equal(
            rig.Ledger.ListOutbox(null, 10).Select(entry => entry.Letter.MessageId).Order(),
            files.Select(file => MimeMessage.Load(file, Stop).MessageId).Order());
    }

    [Fact]
    public async Task A_folder_that_cannot_be_written_is_tried_again()
    {
        await using var rig = Rig.New();
        var blocked = Path.Combine(rig.Folder, "blocked");
        await File.WriteAllTextAsync(blocked, "a file where the folder should be", Stop);
        Letters.Post(rig, Letters.Letter(rig));
        using var sender = Sender(rig, new PickupTransport(new MailOptions { PickupFolder = blocked }, new DataOptions()));
        await sender.SendDueAsync(Stop);
        var entry = Assert.Single(rig.Ledger.ListOutbox(null, 10));
        Assert.NotNull(entry.NextAttemptAt);
        File.Delete(blocked);
        rig.Clock.Advance(TimeSpan.FromMinutes(1));
        await sender.SendDueAsync(Stop);
        Assert.NotNull(Assert.Single(rig.Ledger.ListOutbox(null, 10)).SentAt);
    }

    [Fact]
    public async Task A_running_sender_wakes_when_letters_are_posted()
    {
        await using var rig = Rig.New();
        await using var server = new MailServer().Start();
        using var sender = Sender(rig, Smtp(server));
        await sender.StartAsync(Stop);
        Letters.Post(rig, Letters.Letter(rig));
        rig.Bell.Ring();
        await Eventually.Holds(() => rig.Ledger.ListOutbox(null, 1)[0].SentAt is not null, "the mail");
        await sender.StopAsync(Stop);
    }

    private static SmtpTransport Smtp(MailServer server) => new(new MailOptions { SmtpHost = "127.0.0.1", SmtpPort = server.Port });

    internal static OutboxSender Sender(Rig rig, IMailTransport transport) =>
        new(rig.Ledger, rig.Composer, transport, rig.Bell, rig.Ready, rig.Metrics, rig.Traces, rig.Time, NullLogger<OutboxSender>.Instance);
}
