using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;
using TankWatch.Core.Texts;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Mail;

/// <summary>A heading and what stands under it; the text and the HTML part show the same ones.</summary>
public sealed record MailSection(string? Heading, IReadOnlyList<string> Lines);

/// <summary>What a mail about an alert says, before it becomes text or HTML.</summary>
public static class MailWords
{
    private const int SubjectMax = 150;

    /// <summary>The person's, as the site file has it.</summary>
    public static Language LanguageOf(OutboxLetter letter) => Languages.Of(letter.Notification.To.Language);

    /// <summary>One per alert, so that mail programs which thread by subject keep the thread; what followed is a reply.</summary>
    public static string Subject(OutboxLetter letter, Language language)
    {
        var alert = letter.Notification.Alert;
        var subject = OneLine(
            language.Say(Phrase.Of(
                "mail.subject", ("site", letter.SiteName), ("kind", Terms.Name(alert.Finding.Kind)), ("device", alert.Finding.Device.Value))), SubjectMax);
        return letter.Notification.ThreadKeys.IsEmpty ? subject : "Re: " + subject;
    }

    public static IReadOnlyList<MailSection> Sections(OutboxLetter letter, Language language)
    {
        var finding = letter.Notification.Alert.Finding;
        var text = finding.Text.In(language);
        var zone = TimeZoneInfo.TryFindSystemTimeZoneById(letter.TimeZone, out var found) ? found : TimeZoneInfo.Utc;
        var sections = new List<MailSection>
        {
            new(null, [language.Say(Opening(letter.Notification, zone)), text.Summary]),
            new(language.Say("mail.heading.where"), [.. WhereAndWhen(letter, finding, zone).Select(language.Say)]),
            new(language.Say("mail.heading.seen"), text.Evidence),
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

    private static MailSection Clean(MailSection section) => section with { Lines = [.. section.Lines.Select(line => OneLine(line))] };

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
        yield return Phrase.Of("mail.where", ("name", letter.SiteName), ("site", letter.Notification.Alert.Site.Value), ("device", finding.Device.Value));
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

    /// <summary>With the zone, which a mail that is read elsewhere would not tell otherwise.</summary>
    private static Phrase Local(DateTimeOffset at, TimeZoneInfo zone) => Phrase.Of("mail.moment", ("at", PhraseMoment.In(zone, at)), ("zone", zone.Id));
}
