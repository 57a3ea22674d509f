using Microsoft.Extensions.Logging.Abstractions;
using MimeKit;
using TankWatch.Core.Alerts;
using TankWatch.Core.Contracts;
using TankWatch.Core.Texts;
using TankWatch.Service.Api;
using TankWatch.Service.Mail;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.Mail;
using TankWatch.Service.Tests.Sites;
using TankWatch.Service.Tests.Storage;
using TankWatch.Service.Visits;
using Xunit;

namespace TankWatch.Service.Tests.Visits;

public sealed class VisitMailTests
{
    private const string People = """
        [ { "name": "Ada", "email": "ada@example.org", "language": "ta" }, { "name": "Di", "email": "di@example.org", "role": "installer", "language": "pt" } ]
        """;

    private static readonly Caller Installer = new("di", "installer", null);

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    [Fact]
    public async Task Those_asked_get_an_invitation_each_in_their_language()
    {
        await using var rig = Rig.New();
        var visit = Plan(rig);
        var mails = await SendAsync(rig);
        Assert.Equal(["ada@example.org", "di@example.org"], mails.Select(mail => mail.To.Mailboxes.Single().Address).Order());
        var (ada, di) = (To(mails, "ada@example.org"), To(mails, "di@example.org"));
        Assert.Equal(("Alder Row: வருகை", "Alder Row: visita"), (ada.Subject, di.Subject));
        Assert.Contains("Quando: terça-feira, 3 de março de 2026, 10:00 (Europe/Lisbon)", di.TextBody, StringComparison.Ordinal);
        Assert.Contains("Quem vai: Di", di.TextBody, StringComparison.Ordinal);
        Assert.NotEqual(ada.MessageId, di.MessageId);

        // As programs with a calendar expect it: the calendar is the last and so the richest alternative (RFC 2046, 5.1.4 [M]), and a file as well.
        var mixed = Assert.IsType<Multipart>(di.Body);
        var words = Assert.IsType<MultipartAlternative>(mixed[0]);
        Assert.Equal(["text/plain", "text/html", "text/calendar"], words.Select(part => part.ContentType.MimeType));
        Assert.Equal(("REQUEST", "utf-8"), (words[2].ContentType.Parameters["method"], words[2].ContentType.Charset));
        var file = Assert.IsType<MimePart>(mixed[1]);
        Assert.Equal(("application/ics", "visit.ics", true), (file.ContentType.MimeType, file.FileName, file.IsAttachment));
        foreach (var part in (MimePart[])[(MimePart)words[2], file])
        {
            using var content = new MemoryStream();
            part.Content!.DecodeTo(content, Stop);
            Assert.Equal(($"{visit.Id}@tankwatch", "20260303T100000Z"), (new CalendarReader(content.ToArray()).Event("UID").Value, new CalendarReader(content.ToArray()).Event("DTSTART").Value));
        }
    }

    [Fact]
    public async Task A_change_and_the_end_of_a_plan_are_told_to_the_same_people_in_the_same_thread()
    {
        await using var rig = Rig.New();
        var visit = Plan(rig);
        var first = To(await SendAsync(rig), "ada@example.org");
        var plan = SampleSite.Plan(SampleSite.Json(contacts: "[]")); // Who was asked hears of it, though they are no contact any more.
        visit = Visit(Desk(rig).Move(visit, plan, Installer, visit.StartsAt.AddHours(1), null));
        var moved = To(await SendAsync(rig), "ada@example.org");
        Visit(Desk(rig).Cancel(visit, plan, Installer));
        var cancelled = To(await SendAsync(rig), "ada@example.org");
        Assert.Equal("Re: Alder Row: வருகை", moved.Subject);
        Assert.Equal([first.MessageId!, moved.MessageId!], cancelled.References);
        Assert.Equal(moved.MessageId, cancelled.InReplyTo);
        Assert.Equal(["REQUEST", "REQUEST", "CANCEL"], ((MimeMessage[])[first, moved, cancelled]).Select(mail => mail.BodyParts.First(part => part.ContentType.IsMimeType("text", "calendar")).ContentType.Parameters["method"]));
    }

    [Fact]
    public async Task No_word_of_an_invitation_or_its_calendar_stands_in_the_code()
    {
        await using var rig = Rig.New();
        Assert.Null(rig.Put(SampleSite.Json(contacts: SampleSite.Caretaker(Languages.Pseudo.Tag))));
        var plan = SampleSite.Plan(SampleSite.Json(contacts: SampleSite.Caretaker(Languages.Pseudo.Tag)));
        rig.Database.Write(connection => LedgerStore.Append(
            connection, [StoredJsonTests.SampleAlert()], [new AlertRaised("a1", Rig.Noon, plan.Id, StoredJsonTests.SampleFinding)]));
        foreach (var why in (string?[])[null, "a1"])
        {
            var visit = Visit(Desk(rig).Plan(plan, Installer, new(Rig.Noon.AddHours(22), 60, "Di", null, why)));
            visit = Visit(Desk(rig).Move(visit, plan, Installer, visit.StartsAt.AddHours(1), null));
            Visit(Desk(rig).Cancel(visit, plan, Installer));
            var mails = await SendAsync(rig);
            Assert.Equal(3, mails.Count);
            Assert.All(mails, mail => MailSaid.In(mail, "Alder Row", "Europe/Lisbon", "Di", "p1", "a1"));
        }
    }

    [Fact]
    public async Task A_letter_that_is_tried_again_says_the_same_to_the_byte()
    {
        await using var rig = Rig.New();
        Plan(rig);
        var letters = rig.Ledger.ListOverdue(rig.Time.GetUtcNow(), rig.Time.GetUtcNow());
        rig.Clock.Advance(TimeSpan.FromHours(3));
        var calendars = letters.Select(letter => ((VisitMail)letter.Mail, letter.CreatedAt)).Select(one =>
            ((string[])[.. Enumerable.Range(0, 2).Select(_ => rig.Composer.Visits.TryCompose(one.Item1, [], one.CreatedAt, out var fault)!.BodyParts.OfType<TextPart>().Last().Text)]).Distinct());
        Assert.All(calendars, same => Assert.Single(same));
    }

    [Fact]
    public async Task A_visit_that_somebody_else_changed_meanwhile_is_left_alone()
    {
        await using var rig = Rig.New();
        var (visit, plan) = (Plan(rig), SampleSite.Plan(SampleSite.Json(contacts: People)));
        Visit(Desk(rig).Move(visit, plan, Installer, visit.StartsAt.AddHours(1), null));
        Assert.Equal(409, Assert.IsType<VisitOutcome.Refused>(Desk(rig).Cancel(visit, plan, Installer)).Status);
        Assert.Equal(VisitState.Planned, rig.Ledger.FindVisit(visit.Id)!.State);
    }

    [Fact]
    public async Task With_its_site_a_visit_goes_and_its_letters_too()
    {
        await using var rig = Rig.New();
        var visit = Plan(rig);
        Assert.True(rig.Ledger.PutContract(visit.Site, new(new(2026, 1, 1), null, System.Collections.Immutable.ImmutableSortedDictionary<Core.Findings.Priority, int>.Empty, WorkingHours.Always, 0, 1)));
        Assert.Equal(2, rig.Ledger.ListOverdue(rig.Time.GetUtcNow(), rig.Time.GetUtcNow()).Count);
        Assert.True(rig.Ledger.DeleteSite(visit.Site));
        Assert.Empty(rig.Ledger.ListOverdue(rig.Time.GetUtcNow(), rig.Time.GetUtcNow()));
        Assert.Null(rig.Ledger.FindVisit(visit.Id));
        Assert.Null(rig.Ledger.FindContract(visit.Site));
    }

    private static Visit Plan(Rig rig)
    {
        Assert.Null(rig.Put(SampleSite.Json(contacts: People)));
        return Visit(Desk(rig).Plan(SampleSite.Plan(SampleSite.Json(contacts: People)), Installer, new(Rig.Noon.AddHours(22), 60, "Di", "di@example.org", null)));
    }

    private static Visit Visit(VisitOutcome outcome) => Assert.IsType<VisitOutcome.Done>(outcome).Visit;

    private static VisitDesk Desk(Rig rig) => new(rig.Ledger, rig.Composer, rig.Bell, new(rig.Ledger, rig.Directory), rig.Time);

    private static MimeMessage To(IEnumerable<MimeMessage> mails, string address) => mails.Single(mail => mail.To.Mailboxes.Single().Address == address);

    /// <summary>What a real server was given, by the bytes.</summary>
    private static async Task<IReadOnlyList<MimeMessage>> SendAsync(Rig rig)
    {
        await using var server = new MailServer().Start();
        using var sender = new OutboxSender(
            rig.Ledger, rig.Composer, new SmtpTransport(new() { SmtpHost = "127.0.0.1", SmtpPort = server.Port }), rig.Bell, rig.Ready, rig.Metrics, rig.Traces, rig.Time, NullLogger<OutboxSender>.Instance);
        await sender.SendDueAsync(Stop);
        return [.. server.Offered];
    }
}
