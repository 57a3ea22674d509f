using TankWatch.Core.Contracts;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;
using TankWatch.Service.Configuration;
using TankWatch.Service.Mail;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.Sites;
using TankWatch.Service.Visits;
using Xunit;

namespace TankWatch.Service.Tests.Mail;

public sealed class GatheringTests
{
    private const string Ann = "ann@example.org";

    private static readonly TimeSpan Step = TimeSpan.FromSeconds(30);

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    private static Rig NewRig()
    {
        var rig = Rig.New();
        Assert.Null(rig.Put(SampleSite.Json()));
        return rig;
    }

    /// <summary>As the service does: a look every half minute, and at once again while something is due.</summary>
    private static async Task PassAsync(Rig rig, OutboxSender sender, TimeSpan time)
    {
        for (var end = rig.Time.GetUtcNow() + time; rig.Time.GetUtcNow() < end; rig.Clock.Advance(Step))
        {
            await RoundsAsync(rig, sender);
        }

        await RoundsAsync(rig, sender);
    }

    private static async Task RoundsAsync(Rig rig, OutboxSender sender)
    {
        await sender.SendDueAsync(Stop);
        for (var i = 0; i < 30 && rig.Ledger.FindNextAttempt() <= rig.Time.GetUtcNow() && rig.Ready.Stages.Single(stage => stage.Name == "mail").Ok; i++)
        {
            await sender.SendDueAsync(Stop);
        }
    }

    /// <summary>The published figure.</summary>
    [Fact]
    public async Task After_six_hours_without_a_mail_server_2000_alerts_reach_500_people_in_one_mail_each_within_a_quarter_of_an_hour()
    {
        const int alerts = 2000, people = 500;
        await using var rig = NewRig();
        await using var server = new MailServer();
        using var transport = new SmtpTransport(new MailOptions { SmtpHost = "127.0.0.1", SmtpPort = server.Port });
        using var sender = OutboxSenderTests.Sender(rig, transport);
        var start = rig.Time.GetUtcNow();
        for (var i = 0; i < alerts; i++)
        {
            // A few in each step of the six hours; every tenth is critical, every third is over again before anybody heard of it.
            var letter = Letters.OfMany(rig, i, $"p{i % people}@example.org", priority: i % 10 == 0 ? Priority.Critical : Priority.Medium);
            Letters.PostWithAlerts(rig, i % 3 == 0 ? [letter, Letters.OfMany(rig, i, $"p{i % people}@example.org", NotifyReason.Cleared, number: 2)] : [letter]);
            if (i % 20 == 19)
            {
                await sender.SendDueAsync(Stop);
                rig.Clock.Advance(TimeSpan.FromHours(6) / (alerts / 20));
            }
        }

        Assert.Equal(TimeSpan.FromHours(6), rig.Time.GetUtcNow() - start);
        server.Start();
        var recovered = rig.Time.GetUtcNow();
        await PassAsync(rig, sender, TimeSpan.FromMinutes(15));

        var mails = server.Offered.ToList();
        Assert.Equal(Enumerable.Range(0, people).Select(i => $"p{i}@example.org").Order(), mails.Select(mail => mail.To.Mailboxes.Single().Address).Order());
        foreach (var mail in mails)
        {
            var person = int.Parse(mail.To.Mailboxes.Single().Address.Split('@')[0][1..], System.Globalization.CultureInfo.InvariantCulture);
            Assert.All(Enumerable.Range(0, alerts / people), k => Assert.Contains($"d{person + (k * people):0000}", mail.TextBody!, StringComparison.Ordinal));
            Assert.Contains("No mail could be sent for some time.", mail.TextBody, StringComparison.Ordinal);
        }

        var entries = rig.Ledger.ListOutbox(null, 10_000);
        Assert.All(entries, entry => Assert.InRange(entry.SentAt!.Value - recovered, TimeSpan.Zero, TimeSpan.FromMinutes(15)));
        TestContext.Current.TestOutputHelper?.WriteLine($"{mails.Count} mails on {server.Sessions} connections, the last {entries.Max(entry => entry.SentAt!.Value) - recovered} after recovery");
        Assert.InRange(server.Sessions, 1, (people / 50) + 1);
    }

    [Fact]
    public async Task While_the_way_out_is_closed_it_is_tried_every_four_minutes_at_most_and_letters_do_not_back_off()
    {
        await using var rig = NewRig();
        var transport = new FlakyTransport { Opens = () => "closed" };
        using var sender = OutboxSenderTests.Sender(rig, transport);
        Letters.PostWithAlerts(rig, Letters.OfMany(rig, 1, Ann));
        await PassAsync(rig, sender, TimeSpan.FromHours(1));
        Assert.InRange(transport.Openings, 60 / 4, 18);
        Assert.Equal((0, true), rig.Ledger.ListOutbox(null, 1).Select(entry => (entry.Attempts, entry.NextAttemptAt <= rig.Time.GetUtcNow())).Single());
        transport.Opens = () => null;
        await PassAsync(rig, sender, TimeSpan.FromMinutes(4));
        Assert.Equal("Alder Row: Pump starts too often, d0001", Assert.Single(transport.Arrived).Subject); // One that waited alone goes as it is.
    }

    [Fact]
    public async Task A_gathered_mail_says_what_holds_first_and_worst_first_and_in_a_line_what_came_and_went()
    {
        await using var rig = NewRig();
        var transport = new FlakyTransport { Opens = () => "closed" };
        using var sender = OutboxSenderTests.Sender(rig, transport);
        Letters.PostWithAlerts(rig, Letters.OfMany(rig, 1, Ann), Letters.OfMany(rig, 2, Ann, priority: Priority.High), Letters.OfMany(rig, 3, Ann));
        await sender.SendDueAsync(Stop);
        rig.Clock.Advance(TimeSpan.FromMinutes(10));
        Letters.PostWithAlerts(rig, Letters.OfMany(rig, 3, Ann.ToUpperInvariant(), NotifyReason.Cleared, number: 2, thread: "m0003.1.p")); // In other letters the same person.
        transport.Opens = () => null;
        await sender.SendDueAsync(Stop);
        var mail = Assert.Single(transport.Arrived);
        Assert.Equal("Alder Row: Pump starts too often; 3 alerts in all", mail.Subject);
        int[] order = [.. new[] { "d0002", "d0001", "Take care", "Came and went", "d0003, from Monday" }.Select(said => mail.TextBody!.IndexOf(said, StringComparison.Ordinal))];
        Assert.All(order, place => Assert.True(place >= 0, mail.TextBody));
        Assert.Equal(order.Order(), order);
        Assert.Equal(1, mail.TextBody!.Split("d0003").Length - 1);
    }

    [Fact]
    public async Task What_an_alert_is_by_now_is_said_and_not_what_it_was_when_its_letter_was_written()
    {
        await using var rig = NewRig();
        var transport = new FlakyTransport { Opens = () => "closed" };
        using var sender = OutboxSenderTests.Sender(rig, transport);
        Letters.PostWithAlerts(rig, Letters.OfMany(rig, 1, Ann), Letters.OfMany(rig, 2, Ann));
        await sender.SendDueAsync(Stop);
        var over = Letters.OfMany(rig, 1, Ann, NotifyReason.Cleared).Notification.Alert;
        rig.Database.Write(connection => { LedgerStore.Append(connection, [over with { Events = 2 }], [new Core.Alerts.AlertNoted(over.Id, Rig.Noon, "x", "y")]); return 0; });
        transport.Opens = () => null;
        await PassAsync(rig, sender, TimeSpan.FromMinutes(4));
        Assert.Contains("Came and went:\n- Alder Row: Pump starts too often, d0001", Assert.Single(transport.Arrived).TextBody!.ReplaceLineEndings("\n"), StringComparison.Ordinal);
    }

    [Fact]
    public async Task Nobody_gets_more_than_six_mails_an_hour_that_are_not_critical_and_the_rest_comes_in_one_that_says_why()
    {
        await using var rig = NewRig();
        var transport = new FlakyTransport();
        using var sender = OutboxSenderTests.Sender(rig, transport);
        for (var i = 0; i < 20; i++)
        {
            Letters.PostWithAlerts(rig, Letters.OfMany(rig, i, Ann));
            await PassAsync(rig, sender, TimeSpan.FromMinutes(1));
        }

        Assert.Equal(6, transport.Arrived.Count);
        Letters.PostWithAlerts(rig, Letters.OfMany(rig, 90, Ann, priority: Priority.Critical), Letters.OfMany(rig, 91, "bob@example.org"));
        await RoundsAsync(rig, sender);
        Assert.Equal(["Alder Row: Pump starts too often, d0090", "Alder Row: Pump starts too often, d0091"], transport.Arrived.Skip(6).Select(mail => mail.Subject));
        await PassAsync(rig, sender, TimeSpan.FromMinutes(41));
        var gathered = transport.Arrived[^1];
        Assert.Equal((9, "Alder Row: Pump starts too often; 14 alerts in all"), (transport.Arrived.Count, gathered.Subject));
        Assert.Contains("more than 6 mails to you within an hour", gathered.TextBody, StringComparison.Ordinal);
        Assert.All(Enumerable.Range(6, 14), i => Assert.Contains($"d{i:0000}", gathered.TextBody, StringComparison.Ordinal));
        Assert.All(rig.Ledger.ListOutbox(null, 100), entry => Assert.NotNull(entry.SentAt));
    }

    [Fact]
    public async Task What_quiet_hours_kept_back_is_one_mail_at_their_end_and_what_is_critical_is_not_in_it()
    {
        await using var rig = NewRig();
        var transport = new FlakyTransport();
        using var sender = OutboxSenderTests.Sender(rig, transport);
        var morning = rig.Time.GetUtcNow().AddHours(8);
        Letters.PostWithAlerts(
            rig, Letters.OfMany(rig, 1, Ann, notBefore: morning), Letters.OfMany(rig, 2, Ann, notBefore: morning), Letters.OfMany(rig, 3, Ann, priority: Priority.Critical));
        await PassAsync(rig, sender, TimeSpan.FromHours(8) - Step);
        Assert.Contains("d0003", Assert.Single(transport.Arrived).Subject, StringComparison.Ordinal);
        Letters.PostWithAlerts(rig, Letters.OfMany(rig, 4, Ann, priority: Priority.Critical));
        await PassAsync(rig, sender, TimeSpan.FromMinutes(1));
        Assert.Contains("d0004", transport.Arrived[1].Subject, StringComparison.Ordinal);
        Assert.Contains("quiet hours", Assert.Single(transport.Arrived.Skip(2)).TextBody, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_crash_between_gathering_and_sending_repeats_the_same_mail_and_later_mails_of_its_threads_refer_to_it()
    {
        await using var rig = NewRig();
        var transport = new FlakyTransport { Opens = () => "closed" };
        using (var sender = OutboxSenderTests.Sender(rig, transport))
        {
            Letters.PostWithAlerts(rig, Letters.OfMany(rig, 1, Ann), Letters.OfMany(rig, 2, Ann));
            await sender.SendDueAsync(Stop);
            (transport.Opens, transport.Sends) = (() => null, _ => (false, null));
            rig.Clock.Advance(TimeSpan.FromMinutes(4));
            await Assert.ThrowsAnyAsync<OperationCanceledException>(() => sender.SendDueAsync(Stop));
            transport.Sends = _ => (true, null);
            await Assert.ThrowsAnyAsync<OperationCanceledException>(() => sender.SendDueAsync(Stop));
        }

        Letters.PostWithAlerts(rig, Letters.OfMany(rig, 9, Ann)); // Came since, and is not in the mail that may have left.
        transport.Sends = _ => (true, new MailOutcome.Sent());
        using var again = OutboxSenderTests.Sender(rig, transport);
        await again.SendDueAsync(Stop);
        Assert.Equal(3, transport.Arrived.Count);
        Assert.Equal(transport.Arrived[0].MessageId, transport.Arrived[1].MessageId);
        Assert.DoesNotContain("d0009", transport.Arrived[1].TextBody, StringComparison.Ordinal);
        Letters.PostWithAlerts(rig, Letters.OfMany(rig, 1, Ann, NotifyReason.Cleared, number: 2, thread: "m0001.1.p"));
        await again.SendDueAsync(Stop);
        Assert.Equal(transport.Arrived[0].MessageId, transport.Arrived[^1].InReplyTo);
    }

    /// <summary>Somebody did something, and others are to know of it while it is of use to them.</summary>
    [Fact]
    public async Task Letters_about_visits_go_at_once_and_take_no_place_from_alerts()
    {
        await using var rig = NewRig();
        var transport = new FlakyTransport();
        using var sender = OutboxSenderTests.Sender(rig, transport);
        for (var i = 0; i < 10; i++)
        {
            var (at, id) = (rig.Time.GetUtcNow().AddDays(1 + i), $"visit-{i}");
            var visit = new Visit(id, new("alder-row"), at, 60, new("Ann", Ann, "en"), [new("Ann", Ann, "en")], null, "Meera", rig.Time.GetUtcNow());
            var mail = new VisitMail($"{id}.0", rig.Composer.MessageIdOf(id, "test"), new("Ann", Ann, null, "visit", "en"), [], VisitNews.Planned, visit, VisitWords.Why(null), "Alder Row", "Asia/Kathmandu");
            Assert.True(rig.Ledger.PutVisit(visit, null, [mail]));
        }

        await RoundsAsync(rig, sender);
        Assert.Equal(10, transport.Arrived.Count);
        Letters.PostWithAlerts(rig, [.. Enumerable.Range(0, 6).Select(i => Letters.OfMany(rig, i, Ann))]);
        await RoundsAsync(rig, sender);
        Assert.Equal(16, transport.Arrived.Count);
        Assert.Null(rig.Ledger.FindNextAttempt());
    }
}
