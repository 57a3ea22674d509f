using Microsoft.Extensions.Logging.Abstractions;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;
using TankWatch.Core.Tests.Texts;
using TankWatch.Core.Texts;
using TankWatch.Service.Mail;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.Sites;
using TankWatch.Service.Tests.Storage;
using Xunit;

namespace TankWatch.Service.Tests.Mail;

public sealed class DigestClerkTests
{
    private const string Ann = """{ "name": "Ann", "email": "ann@example.org", "role": "caretaker", "fromPriority": "high" }""";

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    private static DigestClerk Clerk(Rig rig) => new(rig.Ledger, rig.Directory, rig.Composer, rig.Bell, rig.Time, NullLogger<DigestClerk>.Instance);

    /// <summary>One whose sites have these contacts, begun on a Monday at noon.</summary>
    private static async Task<Rig> RunningAsync(params (string Site, string Contacts)[] sites)
    {
        var rig = Rig.New();
        foreach (var (site, contacts) in sites)
        {
            Assert.Null(rig.Put(SampleSite.Json(site, $"fu-{site}", site.ToUpperInvariant(), $"[ {contacts} ]")));
        }

        await rig.StartAsync();
        await rig.Keeper.StopAsync(Stop); // The sites are known; that their units fall silent meanwhile is no matter here.
        using var clerk = Clerk(rig);
        clerk.WriteDue();
        return rig;
    }

    /// <summary>An alert of which people were told now.</summary>
    private static void Tell(Rig rig, string site, string id, Priority priority = Priority.Medium, FindingKind kind = FindingKind.ShortCycling, bool ended = false)
    {
        var now = rig.Time.GetUtcNow();
        var finding = StoredJsonTests.SampleFinding with { Kind = kind, Priority = priority, Since = now, RaisedAt = now, ClearedAt = ended ? now.AddHours(1) : null };
        var alert = StoredJsonTests.SampleAlert(id) with { Site = new(site), Finding = finding, Notices = [new(1, NotifyReason.Opened, now)], FirstRaisedAt = now };
        rig.Database.Write(connection => LedgerStore.Append(connection, [alert], [new AlertRaised(id, now, alert.Site, finding)]));
    }

    /// <summary>Looks every half hour until a time has passed, as a process that is started again each time.</summary>
    private static void Pass(Rig rig, TimeSpan time)
    {
        for (var end = rig.Time.GetUtcNow() + time; rig.Time.GetUtcNow() < end;)
        {
            rig.Clock.Advance(TimeSpan.FromMinutes(30));
            using var clerk = Clerk(rig);
            clerk.WriteDue();
        }
    }

    private static async Task<List<MimeKit.MimeMessage>> SentAsync(Rig rig, string subject = "What could wait")
    {
        var transport = new FlakyTransport();
        using var sender = OutboxSenderTests.Sender(rig, transport);
        await sender.SendDueAsync(Stop);
        return [.. transport.Arrived.Where(mail => mail.Subject!.StartsWith(subject, StringComparison.Ordinal))];
    }

    [Fact]
    public async Task No_word_of_a_digest_stands_in_the_code()
    {
        await using var rig = await RunningAsync(("alder", Ann.Replace("}", ", \"language\": \"qps\" }", StringComparison.Ordinal)));
        Tell(rig, "alder", "a1");
        Tell(rig, "alder", "a2", Priority.High, FindingKind.Leak); // Stands longer than a day by the second morning.
        Tell(rig, "alder", "a3", ended: true);
        Pass(rig, TimeSpan.FromHours(20));
        MailSaid.In(Assert.Single(await SentAsync(rig, "⟦What could wait")), "ALDER", "p1", "Europe/Lisbon");
        Pass(rig, TimeSpan.FromHours(24));
        MailSaid.In(Assert.Single(await SentAsync(rig, "⟦What could wait")), "ALDER", "p1", "Europe/Lisbon");
        var chatters = new[] { AlertState.Unacknowledged, AlertState.Normal }.Select(state => new DigestAlert(StoredJsonTests.SampleAlert() with { State = state }, 9));
        var lines = Digest.LinesOf(chatters, new("Ann", "ann@example.org", null, "caretaker", "qps"), TimeZoneInfo.Utc, Rig.Noon, Rig.Noon);
        Assert.Equal(2, lines.Length);
        Assert.All(lines, line => Assert.Equal("", PseudoLanguage.Strangers(Languages.Pseudo.Say(line.Says), ["p1"])));
    }

    [Fact]
    public async Task What_could_wait_is_told_once_in_the_morning_and_never_again()
    {
        await using var rig = await RunningAsync(("alder", Ann));
        Tell(rig, "alder", "a1");
        Pass(rig, TimeSpan.FromHours(18));
        Assert.Empty(await SentAsync(rig));
        Pass(rig, TimeSpan.FromHours(2));
        var mail = Assert.Single(await SentAsync(rig));
        Assert.Contains("ALDER:\n- Pump starts too often, p1: since 2 Mar 12:00, medium\n", mail.TextBody!.ReplaceLineEndings("\n"), StringComparison.Ordinal);
        Pass(rig, TimeSpan.FromHours(4));
        Assert.Empty(await SentAsync(rig));
    }

    [Fact]
    public async Task Nothing_to_say_is_no_mail_and_what_happens_later_in_the_day_waits_for_the_next_morning()
    {
        await using var rig = await RunningAsync(("alder", Ann));
        Pass(rig, TimeSpan.FromHours(20));
        Tell(rig, "alder", "a1");
        Pass(rig, TimeSpan.FromHours(20));
        Assert.Empty(await SentAsync(rig));
        Pass(rig, TimeSpan.FromHours(4));
        Assert.Single(await SentAsync(rig));
    }

    [Fact]
    public async Task A_weekly_digest_comes_on_monday_and_none_to_whoever_wants_none_or_declined()
    {
        await using var rig = await RunningAsync(
            ("alder", """{ "name": "Week", "email": "week@example.org", "fromPriority": "high", "digest": "weekly" }, { "name": "None", "email": "none@example.org", "fromPriority": "high", "digest": "none" }, { "name": "Not", "email": "not@example.org", "fromPriority": "high" }"""));
        rig.Ledger.Decline("Not@example.org", [new SiteId("alder")]);
        Tell(rig, "alder", "a1");
        Pass(rig, TimeSpan.FromDays(6.5));
        Assert.Empty(await SentAsync(rig));
        Pass(rig, TimeSpan.FromHours(8));
        Assert.Equal("week@example.org", Assert.Single(await SentAsync(rig)).To.Mailboxes.Single().Address);
    }

    [Fact]
    public async Task All_sites_of_a_person_are_in_one_digest_the_worst_first_with_what_is_open_for_more_than_a_day()
    {
        await using var rig = await RunningAsync(("alder", Ann), ("birch", Ann), ("cedar", Ann));
        Tell(rig, "alder", "a1", Priority.Low);
        Tell(rig, "cedar", "c1", Priority.High, FindingKind.Leak); // Told by mail: here only once it is stale.
        Pass(rig, TimeSpan.FromHours(20));
        Assert.DoesNotContain("CEDAR", Assert.Single(await SentAsync(rig)).TextBody, StringComparison.Ordinal);
        Tell(rig, "birch", "b1");
        Pass(rig, TimeSpan.FromHours(24));
        var text = Assert.Single(await SentAsync(rig)).TextBody!;
        Assert.Contains("Leak, p1: open for more than a day, since 2 Mar 12:00, high", text, StringComparison.Ordinal);
        int[] order = [.. new[] { "CEDAR", "BIRCH", "ALDER" }.Select(site => text.IndexOf(site, StringComparison.Ordinal))];
        Assert.True(order[0] > 0 && order[0] < order[1] && order[1] < order[2], text);
    }

    [Fact]
    public async Task Who_sleeps_at_seven_gets_it_when_their_quiet_hours_end()
    {
        await using var rig = await RunningAsync(("alder", Ann.Replace("\"role\"", "\"quietHours\": \"22:00-08:30\", \"role\"", StringComparison.Ordinal)));
        Tell(rig, "alder", "a1");
        Pass(rig, TimeSpan.FromHours(20));
        Assert.Empty(await SentAsync(rig));
        Pass(rig, TimeSpan.FromHours(1));
        Assert.Single(await SentAsync(rig));
    }

    [Fact]
    public async Task A_very_long_digest_has_the_worst_and_says_how_many_more_there_are()
    {
        string[] sites = [.. Enumerable.Range(0, 7).Select(i => $"s{i}")];
        await using var rig = await RunningAsync([.. sites.Select(site => (site, Ann))]);
        for (var i = 0; i < 7; i++)
        {
            for (var n = 0; n < (i == 0 ? 25 : i < 5 ? 20 : 3); n++)
            {
                Tell(rig, sites[i], $"{sites[i]}-{n:00}");
            }
        }

        Pass(rig, TimeSpan.FromHours(20));
        var mail = Assert.Single(await SentAsync(rig));
        var text = mail.TextBody!.ReplaceLineEndings("\n");
        Assert.Equal(100, text.Split("Pump starts too often").Length - 1);
        Assert.Contains("- and 5 more\n", text, StringComparison.Ordinal);
        Assert.Contains("\nand 6 more, of 2 other buildings\n", text, StringComparison.Ordinal);
        Assert.DoesNotContain("S6:", text, StringComparison.Ordinal);
        Assert.Equal("What could wait, of 7 buildings", mail.Subject);
    }

    [Fact]
    public async Task A_digest_that_cannot_be_written_keeps_nobody_elses_back()
    {
        await using var rig = await RunningAsync(("alder", Ann), ("birch", Ann.Replace("ann@", "bea@", StringComparison.Ordinal)));
        Tell(rig, "alder", "a1");
        Tell(rig, "birch", "b1");
        rig.Database.Write(connection => connection.Execute("UPDATE alerts SET json = '{' WHERE id = 'a1'"));
        Pass(rig, TimeSpan.FromHours(20));
        Assert.Equal("bea@example.org", Assert.Single(await SentAsync(rig)).To.Mailboxes.Single().Address);
    }

    /// <summary>The published figure: chatter that outlasts the hold times more than ten times, with a thousand crossings in the hour.</summary>
    [Fact]
    public async Task A_thousand_crossings_in_an_hour_are_two_letters_at_most_and_one_line_in_a_digest()
    {
        await using var rig = await Rig.RunningAsync();
        using var clerk = Clerk(rig);
        clerk.WriteDue();
        var (seq, crossings, mains, begun) = (0, 0, true, rig.Time.GetUtcNow());
        for (var cycle = 0; cycle < 14; cycle++)
        {
            foreach (var last in (bool[])[false, true])
            {
                for (var n = 0; n < 36 || mains != last; n++)
                {
                    (crossings, mains) = (crossings + 1, !mains);
                    await rig.SendAsync("supply", SampleSite.Supply(rig.Time.GetUtcNow(), mains, ++seq));
                    rig.Clock.Advance(TimeSpan.FromMilliseconds(50));
                }

                await rig.PassAsync(TimeSpan.FromSeconds(126), TimeSpan.FromSeconds(18));
            }
        }

        var alert = Assert.Single(rig.Ledger.ListAlerts(new(null, null, FindingKind.PowerFailure, null, null), null, 100));
        TestContext.Current.TestOutputHelper?.WriteLine($"{crossings} crossings in {rig.Time.GetUtcNow() - begun}, back {alert.Returns} times, {rig.Ledger.ListOutbox(null, 100).Count} letters");
        Assert.InRange(rig.Time.GetUtcNow() - begun, TimeSpan.FromMinutes(55), TimeSpan.FromMinutes(65));
        Assert.InRange(crossings, 1000, 1100);
        Assert.InRange(alert.Returns, 10, 14);
        Assert.InRange(rig.Ledger.ListLettersOf(alert.Id).Count, 1, 2);
        rig.Clock.Advance(TimeSpan.FromHours(19));
        clerk.WriteDue();
        var line = rig.Database.Read(connection => connection.List("SELECT json FROM outbox WHERE reason = 'digest'", row => StoredJson.Read<DigestMail>(row.GetString(0))))
            .SelectMany(mail => mail.Sites).SelectMany(site => site.Lines).Select(Languages.English.Say);
        Assert.Equal([$"Power cut, fu-1: came back {alert.Returns} times, and does not hold now"], line);
    }
}
