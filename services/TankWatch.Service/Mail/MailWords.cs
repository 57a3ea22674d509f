using System.Globalization;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Mail;

/// <summary>A heading and what stands under it; the text and the HTML part show the same ones.</summary>
public sealed record MailSection(string? Heading, IReadOnlyList<string> Lines);

/// <summary>What a mail about an alert says, before it becomes text or HTML.</summary>
public static class MailWords
{
    public const string Footer =
        "TankWatch watches and reports. It protects nothing: the float valves, the electrodes and the pump's own protection must be in order without it.";

    private const int SubjectMax = 150;

    /// <summary>One per alert, so that mail programs which thread by subject keep the thread; what followed is a reply.</summary>
    public static string Subject(OutboxLetter letter)
    {
        var alert = letter.Notification.Alert;
        var subject = OneLine($"{letter.SiteName}: {Title(alert.Finding.Kind)}, {alert.Finding.Device}", SubjectMax);
        return letter.Notification.ThreadKeys.IsEmpty ? subject : "Re: " + subject;
    }

    public static IReadOnlyList<MailSection> Sections(OutboxLetter letter)
    {
        var finding = letter.Notification.Alert.Finding;
        var zone = TimeZoneInfo.TryFindSystemTimeZoneById(letter.TimeZone, out var found) ? found : TimeZoneInfo.Utc;
        var sections = new List<MailSection>
        {
            new(null, [Opening(letter.Notification, zone), finding.Text.Summary]),
            new("Where and since when", [.. WhereAndWhen(letter, finding, zone)]),
            new("What was seen", finding.Text.Evidence),
            new("How sure it is", [.. Size(finding), .. Causes(finding)]),
        };
        if (letter.Notification.Reason != NotifyReason.Cleared)
        {
            sections.Add(new("What to check first", finding.Text.Advice));
            sections.Add(new("Take care", finding.Text.Cautions));
        }

        return [.. sections.Where(section => section.Lines.Count > 0).Select(Clean)];
    }

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

    private static string Opening(Notification notice, TimeZoneInfo zone) => (notice.Reason, notice.Alert) switch
    {
        (NotifyReason.Cleared, { Correction: AlertCorrection.Withdrawn }) =>
            "Withdrawn: messages that came late show that this was not so. Nothing needs to be done.",
        (NotifyReason.Cleared, { Finding.ClearedAt: { } cleared }) => $"Over since {Local(cleared, zone)}. It said:",
        (NotifyReason.Cleared, _) => "Over. It said:",
        (NotifyReason.Reopened, _) => "It is back.",
        _ => $"Priority: {FindingNames.Of(notice.Alert.Finding.Priority)}.",
    };

    private static IEnumerable<string> WhereAndWhen(OutboxLetter letter, Finding finding, TimeZoneInfo zone)
    {
        yield return $"{letter.SiteName} ({letter.Notification.Alert.Site}), {finding.Device}";
        yield return $"Since {Local(finding.Since, zone)}";
        if (letter.Notification.Alert.Correction == AlertCorrection.Moved)
        {
            yield return "Messages that came late moved this time; an earlier mail may give another.";
        }
    }

    private static IEnumerable<string> Size(Finding finding) => finding.Estimate is { } estimate
        ? [string.Create(CultureInfo.InvariantCulture,
            $"{estimate.Name}: {estimate.Size.Value:0.#} {estimate.Unit}, between {estimate.Size.Low:0.#} and {estimate.Size.High:0.#} nine times in ten")]
        : [];

    private static IEnumerable<string> Causes(Finding finding) => finding.Causes.IsEmpty
        ? []
        : ["Likely causes: " + string.Join(", ", finding.Causes.Select(cause =>
            string.Create(CultureInfo.InvariantCulture, $"{Words(cause.Name)} {cause.Probability * 100:0} %")))];

    private static string Local(DateTimeOffset at, TimeZoneInfo zone) =>
        TimeZoneInfo.ConvertTime(at, zone).ToString("dddd d MMMM yyyy, HH:mm", CultureInfo.InvariantCulture) + $" ({zone.Id})";

    private static string Title(FindingKind kind) => Words(FindingNames.Of(kind));

    private static string Words(string name) => name.Replace('-', ' ');
}
