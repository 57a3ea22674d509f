using MimeKit;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;
using TankWatch.Core.Tests.Texts;
using TankWatch.Core.Texts;
using TankWatch.Service.Mail;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Mail;

public sealed class MailLanguageTests
{
    private static readonly PhraseMoment At = PhraseMoment.In(TimeZoneInfo.FindSystemTimeZoneById("Asia/Kathmandu"), Rig.Noon);

    private static readonly FindingText Leaking = new(
        Phrase.Of("leak.summary", ("tank", "roof"), ("rate", 61.4)),
        [Phrase.Of("leak.evidence.rate", ("since", At), ("rate", 61), ("low", 50), ("high", 72), ("daily", 1474))],
        [Phrase.Of("leak.advice.listen"), Phrase.Of("leak.advice.valve", ("tank", "roof"))], [Phrase.Of("caution.sump"), Phrase.Of("caution.height")]);

    private static OutboxLetter Letter(
        Rig rig, string language, FindingKind kind = FindingKind.Leak, NotifyReason reason = NotifyReason.Opened, AlertCorrection? correction = null)
    {
        var letter = Letters.Letter(rig, reason: reason);
        var alert = letter.Notification.Alert;
        var finding = alert.Finding with
        {
            Kind = kind, Device = new("roof"), Text = Leaking, Estimate = new("leak", new(1474.5, 1200, 1700), "L/h"), Causes = [new("leak", 0.9), new("heavy-use", 0.1)],
            ClearedAt = reason == NotifyReason.Cleared && correction is null ? Rig.Noon : null,
        };
        return letter with
        {
            Notification = letter.Notification with { To = letter.Notification.To with { Language = language }, Alert = alert with { Finding = finding, Correction = correction } },
        };
    }

    private static MimeMessage Mail(Rig rig, OutboxLetter letter)
    {
        var stream = new MemoryStream();
        rig.Composer.TryCompose(letter, [], Rig.Noon, out _)!.WriteTo(stream);
        stream.Position = 0;
        return MimeMessage.Load(stream);
    }

    [Theory]
    [InlineData("en", "en", "ltr", "Alder Row: Leak, roof", "Tank roof loses about 61.4 litres an hour", "Monday 2 March 2026, 16:45 (Asia/Kathmandu)")]
    [InlineData("hi", "hi", "ltr", "Alder Row: रिसाव, roof", "टंकी roof से हर समय लगभग 61.4 लीटर", "सोमवार, 2 मार्च 2026, 16:45 (Asia/Kathmandu)")]
    [InlineData("ta", "ta", "ltr", "Alder Row: கசிவு, roof", "roof தொட்டியில் எந்நேரமும்", "திங்கள், 2 மார்ச் 2026, 16:45 (Asia/Kathmandu)")]
    [InlineData("ar", "ar", "rtl", "\u2068Alder Row\u2069: تسرب، \u2068roof\u2069", "الخزان \u2068roof\u2069 نحو 61.4 لتر", "الاثنين 2 مارس 2026، 16:45")]
    [InlineData("pt-BR", "pt", "ltr", "Alder Row: Fuga, roof", "O reservatório roof perde cerca de 61,4 litros por hora", "segunda-feira, 2 de março de 2026, 16:45 (Asia/Kathmandu)")]
    [InlineData("xx", "en", "ltr", "Alder Row: Leak, roof", "Tank roof loses about", "Monday 2 March 2026")]
    public async Task A_mail_is_in_the_language_of_the_person(string asked, string language, string direction, string subject, string summary, string since)
    {
        await using var rig = Rig.New();
        var mail = Mail(rig, Letter(rig, asked));
        Assert.Equal(subject, mail.Subject);
        Assert.Equal(language, mail.Body!.Headers[HeaderId.ContentLanguage]);
        Assert.Contains($"<html lang=\"{language}\" dir=\"{direction}\">", mail.HtmlBody, StringComparison.Ordinal);
        foreach (var part in (string[])[mail.TextBody!, System.Net.WebUtility.HtmlDecode(mail.HtmlBody!)])
        {
            Assert.Contains(summary, part, StringComparison.Ordinal);
            Assert.Contains(since, part, StringComparison.Ordinal);
            Assert.Contains(Languages.Of(language).Say("caution.sump"), part, StringComparison.Ordinal);
        }
    }

    public static TheoryData<FindingKind, NotifyReason, AlertCorrection?> Mails
    {
        get
        {
            var mails = new TheoryData<FindingKind, NotifyReason, AlertCorrection?>();
            foreach (var kind in Enum.GetValues<FindingKind>())
            {
                mails.Add(kind, NotifyReason.Opened, null);
            }

            foreach (var reason in (NotifyReason[])[NotifyReason.Escalated, NotifyReason.Graver, NotifyReason.StillHolds])
            {
                mails.Add(FindingKind.Leak, reason, null);
            }

            mails.Add(FindingKind.Leak, NotifyReason.Reopened, AlertCorrection.Moved);
            mails.Add(FindingKind.Leak, NotifyReason.Cleared, null);
            mails.Add(FindingKind.Leak, NotifyReason.Cleared, AlertCorrection.Moved);
            mails.Add(FindingKind.Leak, NotifyReason.Cleared, AlertCorrection.Withdrawn);
            return mails;
        }
    }

    [Theory]
    [MemberData(nameof(Mails))]
    public async Task No_word_of_a_mail_stands_in_the_code(FindingKind kind, NotifyReason reason, AlertCorrection? correction)
    {
        await using var rig = Rig.New();
        var letter = Letter(rig, "en", kind, reason, correction);
        string[] data = ["Alder Row", "alder-row", "Asia/Kathmandu", "roof", letter.Notification.Alert.Id];
        var lines = MailWords.Sections(letter, PseudoLanguage.Made).SelectMany(section => section.Lines.Prepend(section.Heading ?? ""))
            .Append(MailWords.Subject(letter, PseudoLanguage.Made, isReply: false)).Concat(MailWords.Footer(letter, PseudoLanguage.Made));
        Assert.All(lines, line => Assert.Equal(("", line), (PseudoLanguage.Strangers(line, data), line)));
    }

    [Theory]
    [InlineData(1)]
    [InlineData(7)]
    public async Task No_word_of_a_mail_that_gathers_alerts_stands_in_the_code(int holding)
    {
        await using var rig = Rig.New();
        var links = new MailLinks(rig.Ledger, () => "https://water.example");
        var sample = Letter(rig, Languages.Pseudo.Tag);
        var holds = Enumerable.Range(0, holding).Select(_ => sample.Notification.Alert);
        var over = sample.Notification.Alert with { State = AlertState.Normal };
        Alert[] alerts =
        [
            .. holds, over with { Correction = AlertCorrection.Withdrawn }, over with { Finding = over.Finding with { ClearedAt = Rig.Noon } }, over,
        ];
        var mail = new GatheredMail("gathered.1", "1@water.example", sample.To, [.. Enum.GetValues<WaitReason>()]);
        foreach (var told in (Alert[][])[alerts, alerts[^2..], alerts[..1]])
        {
            var text = GatheredWords.Of(mail, [.. told.Select(alert => new GatheredAlert(alert, sample, Rig.Noon))], Rig.Noon, links);
            MailSaid.In(new MailComposer(rig.Mail, links).TryCompose(text, out _)!, "Alder Row", "Asia/Kathmandu", "roof");
        }
    }

    /// <summary>With its links, which tell what one does by opening them.</summary>
    [Fact]
    public async Task No_word_of_a_composed_mail_stands_in_the_code()
    {
        await using var rig = Rig.New();
        var links = new MailLinks(rig.Ledger, () => "https://water.example");
        var letter = Letter(rig, Languages.Pseudo.Tag);
        var text = MailWords.Of(letter, [], Rig.Noon, links);
        Assert.NotNull(text.Unsubscribe);
        MailSaid.In(new MailComposer(rig.Mail, links).TryCompose(text, out _)!, "Alder Row", "alder-row", "Asia/Kathmandu", "roof", letter.Notification.Alert.Id);
    }

    [Fact]
    public void What_a_finding_says_takes_no_more_room_in_the_store_than_its_words_did() =>
        Assert.InRange(StoredJson.Write(Leaking).Length, 1, StoredJson.Write(Leaking.In(Languages.English)).Length / 2);

    [Fact]
    public async Task What_a_version_before_said_in_english_is_repeated_as_it_stands()
    {
        await using var rig = Rig.New();
        var letter = Letters.Letter(rig);
        var mail = Mail(rig, letter with { Notification = letter.Notification with { To = letter.Notification.To with { Language = "ta" } } });
        Assert.Contains("Pump p1 starts too often.", mail.TextBody, StringComparison.Ordinal);
        Assert.StartsWith(Languages.Of("ta").Say(Phrase.Of("mail.opening.priority", ("priority", Terms.Of(Priority.High)))), mail.TextBody, StringComparison.Ordinal);
    }
}
