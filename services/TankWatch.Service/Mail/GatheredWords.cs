using TankWatch.Core.Alerts;
using TankWatch.Core.Texts;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Mail;

/// <summary>What one mail says of several alerts whose letters waited: first what still holds, worst first, then in a line each what is over.</summary>
public static class GatheredWords
{
    /// <summary>So many of those that hold are told with what to check; of the others a line each.</summary>
    private const int Full = 5;

    public static MailText Of(GatheredMail mail, IReadOnlyList<GatheredAlert> alerts, DateTimeOffset createdAt, MailLinks? links)
    {
        var language = Languages.Of(mail.To.Language);
        var holding = alerts.Where(alert => alert.Holds).OrderByDescending(alert => alert.Now.Gravity).ThenBy(alert => alert.Now.Finding.Since).ToList();
        var over = alerts.Where(alert => !alert.Holds).OrderBy(alert => alert.Now.Finding.Since).ToList();
        List<MailSection> sections =
        [
            new(null, [.. mail.Why.Select(why => language.Say(Opening(why)))]),
            .. holding.Take(Full).Select(alert => Section(alert, language, links)),
            new(language.Say("gathered.heading.more"), [.. holding.Skip(Full).Select(alert => language.Say(Holding(alert)))]),
            new(language.Say("mail.heading.care"), [.. holding.SelectMany(alert => alert.Now.Finding.Text.In(language).Cautions).Distinct(StringComparer.Ordinal)]),
            new(language.Say("gathered.heading.over"), [.. over.Select(alert => language.Say(Over(alert)))]),
        ];
        var subject = MailWords.OneLine(language.Say(Subject(alerts, holding)), MailWords.SubjectMax);
        return new(mail.To, mail.MessageId, createdAt, subject, [.. sections.Where(section => section.Lines.Count > 0).Select(MailWords.Clean)], [language.Say("mail.footer")])
        {
            Unsubscribe = alerts.Any(alert => MailWords.IsDuty(alert.Newest)) ? null : MailWords.UnsubscribeLink(mail.To, language, links),
        };
    }

    private static Phrase Subject(IReadOnlyList<GatheredAlert> alerts, List<GatheredAlert> holding) => (alerts, holding) switch
    {
        ([var only], _) => MailWords.SubjectOf(only.Newest),
        (_, [var worst, ..]) => Phrase.Of(
            "gathered.subject.open", ("site", worst.Newest.SiteName), ("kind", Terms.Name(worst.Now.Finding.Kind)), ("count", alerts.Count)),
        _ => Phrase.Of("gathered.subject.over", ("count", alerts.Count)),
    };

    private static Phrase Opening(WaitReason why) => why switch
    {
        WaitReason.Outage => Phrase.Of("gathered.opening.outage"),
        WaitReason.QuietHours => Phrase.Of("gathered.opening.quiet-hours"),
        _ => Phrase.Of("gathered.opening.cap", ("most", Gathering.MostAnHour)),
    };

    private static MailSection Section(GatheredAlert alert, Language language, MailLinks? links)
    {
        var text = alert.Now.Finding.Text.In(language);
        var since = Phrase.Of("gathered.since", ("at", Since(alert)), ("priority", Terms.Of(alert.Now.Gravity)));
        return new(language.Say(About("gathered.heading.alert", alert)), [text.Summary, language.Say(since), .. text.Advice])
        {
            Link = alert.Now.State == AlertState.Unacknowledged ? MailWords.AcknowledgeLink(alert.Newest, alert.CreatedAt, language, links) : null,
        };
    }

    private static Phrase Holding(GatheredAlert alert) => About("gathered.open", alert, ("at", Since(alert)), ("priority", Terms.Of(alert.Now.Gravity)));

    private static Phrase Over(GatheredAlert alert) => alert.Now switch
    {
        { Correction: AlertCorrection.Withdrawn } => About("gathered.withdrawn", alert),
        { Finding.ClearedAt: { } cleared } => About("gathered.over", alert, ("from", Since(alert)), ("to", MailWords.Local(cleared, alert.Newest))),
        _ => About("gathered.closed", alert, ("from", Since(alert))),
    };

    private static Phrase Since(GatheredAlert alert) => MailWords.Local(alert.Now.Finding.Since, alert.Newest);

    private static Phrase About(string key, GatheredAlert alert, params ReadOnlySpan<(string Name, PhraseValue Value)> more) => Phrase.Of(
        key, [("site", alert.Newest.SiteName), ("kind", Terms.Name(alert.Now.Finding.Kind)), ("device", alert.Now.Finding.Device.Value), .. more]);
}
