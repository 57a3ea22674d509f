using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Mail;

/// <summary>What a mail about an alert says, before it becomes text or HTML.</summary>
public static class MailWords
{
    internal const int SubjectMax = 150;

    /// <param name="letter">What to say, and to whom.</param>
    /// <param name="thread">Message-IDs of the earlier mails about this alert to this person, oldest first.</param>
    /// <param name="createdAt">When the mail was intended.</param>
    /// <param name="links">Null where nobody can be led to this service.</param>
    public static MailText Of(OutboxLetter letter, IReadOnlyList<string> thread, DateTimeOffset createdAt, MailLinks? links)
    {
        var language = LanguageOf(letter);
        var sections = Sections(letter, language);
        if (letter.Notification.Reason != NotifyReason.Cleared && AcknowledgeLink(letter, createdAt, language, links) is { } link)
        {
            sections = [sections[0] with { Link = link }, .. sections.Skip(1)];
        }

        return new(letter.To, letter.MessageId, createdAt, Subject(letter, language, isReply: thread.Count > 0), sections, Footer(letter, language))
        {
            Thread = thread, Unsubscribe = IsDuty(letter) ? null : UnsubscribeLink(letter.To, language, links),
        };
    }

    /// <summary>The person's, as the site file has it.</summary>
    public static Language LanguageOf(OutboxLetter letter) => Languages.Of(letter.Notification.To.Language);

    /// <summary>One per alert, so that mail programs which thread by subject keep the thread; what followed is a reply.</summary>
    /// <param name="letter">What to say.</param>
    /// <param name="language">To whom.</param>
    /// <param name="isReply">They had a mail about this alert before; whoever is asked late had none.</param>
    public static string Subject(OutboxLetter letter, Language language, bool isReply)
    {
        var subject = OneLine(language.Say(SubjectOf(letter)), SubjectMax);
        return isReply ? "Re: " + subject : subject;
    }

    /// <summary>It goes to somebody whatever they asked for: what is critical, and the faults of this service to those who look after it.</summary>
    internal static bool IsDuty(OutboxLetter letter) =>
        letter.Notification.Alert.Gravity == Priority.Critical || letter.Notification.Alert.Finding.Kind == FindingKind.ServiceFault;

    internal static Phrase SubjectOf(OutboxLetter letter)
    {
        var finding = letter.Notification.Alert.Finding;
        return finding.Kind == FindingKind.AreaOutage ? Phrase.Of("mail.subject-area", ("site", letter.SiteName), ("kind", Terms.Name(finding.Kind)))
            : Phrase.Of("mail.subject", ("site", letter.SiteName), ("kind", Terms.Name(finding.Kind)), ("device", finding.Device.Value));
    }

    internal static MailLink? AcknowledgeLink(OutboxLetter letter, DateTimeOffset createdAt, Language language, MailLinks? links) =>
        links?.AcknowledgeAddress(letter.Key, createdAt) is { } address ? new(address, language.Say("mail.acknowledge")) : null;

    internal static MailLink? UnsubscribeLink(Contact to, Language language, MailLinks? links) =>
        to.Email is { } email && links?.UnsubscribeAddress(email.ToLowerInvariant()) is { } address ? new(address, language.Say("mail.unsubscribe")) : null;

    public static IReadOnlyList<MailSection> Sections(OutboxLetter letter, Language language)
    {
        var finding = letter.Notification.Alert.Finding;
        var text = finding.Text.In(language);
        var zone = ZoneOf(letter);
        var sections = new List<MailSection>
        {
            new(null, [language.Say(Opening(letter.Notification, zone)), text.Summary]),
            new(language.Say("mail.heading.where"), [.. WhereAndWhen(letter, finding, zone).Select(language.Say)]),
            new(language.Say("mail.heading.seen"), text.Evidence),
            new(language.Say("mail.heading.follows"), letter.Notification.Consequences.IsDefaultOrEmpty ? [] : [.. letter.Notification.Consequences.Select(follows => language.Say(follows.Text.Summary))]),
            new(language.Say("mail.heading.sure"), [.. Size(finding).Concat(Causes(finding)).Select(language.Say)]),
        };
        if (letter.Notification.Reason != NotifyReason.Cleared)
        {
            sections.Add(new(language.Say("mail.heading.check"), text.Advice));
            sections.Add(new(language.Say("mail.heading.care"), text.Cautions));
        }

        return [.. sections.Where(section => section.Lines.Count > 0).Select(Clean)];
    }

    /// <summary>What stands at the end of every mail.</summary>
    public static IReadOnlyList<string> Footer(OutboxLetter letter, Language language) =>
        [language.Say("mail.footer"), language.Say(Phrase.Of("mail.alert", ("id", letter.Notification.Alert.Id)))];

    /// <summary>Text from outside on one line: a line break in a site's name must not become a header, nor a bell ring in a terminal.</summary>
    public static string OneLine(string text, int max = int.MaxValue)
    {
        var clean = new string([.. text.Select(c => char.IsControl(c) || c is '\u2028' or '\u2029' ? ' ' : c)]).Trim();
        if (clean.Length <= max)
        {
            return clean;
        }

        // Not between the halves of a surrogate pair.
        return clean[..(char.IsHighSurrogate(clean[max - 2]) ? max - 2 : max - 1)] + "…";
    }

    internal static MailSection Clean(MailSection section) => section with { Heading = section.Heading is { } heading ? OneLine(heading) : null, Lines = [.. section.Lines.Select(line => OneLine(line))] };

    internal static Phrase Opening(Notification notice, TimeZoneInfo zone) => (notice.Reason, notice.Alert) switch
    {
        (NotifyReason.Cleared, { Correction: AlertCorrection.Withdrawn }) => Phrase.Of("mail.opening.withdrawn"),
        (NotifyReason.Cleared, { Finding.ClearedAt: { } cleared }) => Phrase.Of("mail.opening.cleared", ("at", Local(cleared, zone))),
        (NotifyReason.Cleared, _) => Phrase.Of("mail.opening.over"),
        (NotifyReason.Reopened, _) => Phrase.Of("mail.opening.reopened"),
        (NotifyReason.Escalated, _) => WithPriority("mail.opening.escalated", notice),
        (NotifyReason.Graver, _) => WithPriority("mail.opening.graver", notice),
        (NotifyReason.StillHolds, _) => WithPriority("mail.opening.still-holds", notice),
        _ => WithPriority("mail.opening.priority", notice),
    };

    private static Phrase WithPriority(string key, Notification notice) => Phrase.Of(key, ("priority", Terms.Of(notice.Alert.Finding.Priority)));

    private static IEnumerable<Phrase> WhereAndWhen(OutboxLetter letter, Finding finding, TimeZoneInfo zone)
    {
        if (!letter.Notification.Alert.Site.IsNone)
        {
            yield return Phrase.Of("mail.where", ("name", letter.SiteName), ("site", letter.Notification.Alert.Site.Value), ("device", finding.Device.Value));
        }

        yield return Phrase.Of("mail.since", ("at", Local(finding.Since, zone)));
        if (letter.Notification.Alert.Correction == AlertCorrection.Moved)
        {
            yield return Phrase.Of("mail.moved");
        }
    }

    private static IEnumerable<Phrase> Size(Finding finding) => finding.Estimate is { } estimate
        ? [Phrase.Of(
            "mail.size", ("quantity", Terms.Quantity(estimate.Name)), ("value", estimate.Size.Value), ("unit", Terms.Unit(estimate.Unit)),
            ("low", estimate.Size.Low), ("high", estimate.Size.High))]
        : [];

    private static IEnumerable<Phrase> Causes(Finding finding) => finding.Causes.IsEmpty
        ? []
        : [Phrase.Of("mail.causes", ("causes", PhraseList.Of(ListStyle.Comma, finding.Causes.Select(cause =>
            Phrase.Of("mail.cause", ("cause", Terms.Cause(cause.Name)), ("share", Math.Round(cause.Probability * 100, MidpointRounding.AwayFromZero)))))))];

    /// <summary>A moment at the site of a letter.</summary>
    internal static Phrase Local(DateTimeOffset at, OutboxLetter letter) => Local(at, ZoneOf(letter));

    private static TimeZoneInfo ZoneOf(OutboxLetter letter) => TimeZoneInfo.TryFindSystemTimeZoneById(letter.TimeZone, out var found) ? found : TimeZoneInfo.Utc;

    /// <summary>With the zone, which a mail that is read elsewhere would not tell otherwise.</summary>
    internal static Phrase Local(DateTimeOffset at, TimeZoneInfo zone) => Phrase.Of("mail.moment", ("at", PhraseMoment.In(zone, at)), ("zone", zone.Id));
}
