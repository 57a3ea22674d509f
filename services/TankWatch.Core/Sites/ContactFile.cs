using System.Collections.Immutable;
using System.Globalization;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;

namespace TankWatch.Core.Sites;

/// <summary>Reads the people of a site file, and who is asked after whom.</summary>
internal static class ContactFile
{
    /// <summary>A week: who is not heard from for so long is not asked.</summary>
    private const int MostMinutes = 7 * 24 * 60;

    private static readonly string[] Members = ["name", "email", "phone", "role", "language", "quietHours", "fromPriority", "kinds", "digest"];

    public static ImmutableArray<Contact> Contacts(JsonNode site)
    {
        var contacts = ImmutableArray.CreateBuilder<Contact>();
        foreach (var contact in site.Array("contacts") ?? [])
        {
            if (!contact.IsObject(Members))
            {
                continue;
            }

            var email = contact.Text("email");
            if (email is not null && !LooksLikeAddress(email))
            {
                contact.Fault("email", "is no mail address");
            }

            contacts.Add(new(
                contact.Text("name", required: true) ?? "", email, contact.Text("phone"),
                contact.Text("role") ?? "caretaker", contact.Text("language") ?? "en")
            {
                Quiet = Quiet(contact),
                From = OneOf<Priority>(contact, "fromPriority") ?? Priority.Medium,
                Kinds = Kinds(contact),
                Digest = OneOf<DigestRhythm>(contact, "digest") ?? DigestRhythm.Daily,
            });
        }

        return contacts.ToImmutable();
    }

    public static Escalation Escalation(JsonNode site)
    {
        if (site.Find("escalation") is not { } node || !node.IsObject(["order", "minutes"]))
        {
            return Sites.Escalation.Usual;
        }

        var order = node.Array("order")?.Select(role => role.Text()).OfType<string>().ToImmutableArray();
        return new(order ?? Sites.Escalation.Usual.Order, Minutes(node) ?? Sites.Escalation.Usual.Minutes);
    }

    /// <summary>"22:00-07:00".</summary>
    internal static (TimeOnly From, TimeOnly To)? Span(string text) =>
        text.Split('-') is [var from, var to] && Clock(from) is { } start && Clock(to) is { } end && start != end ? (start, end) : null;

    private static QuietHours? Quiet(JsonNode contact)
    {
        if (contact.Text("quietHours") is not { } text)
        {
            return null;
        }

        if (Span(text) is { } span)
        {
            return new(span.From, span.To);
        }

        contact.Fault("quietHours", "must be two times of day such as 22:00-07:00");
        return null;
    }

    private static ImmutableSortedDictionary<FindingKind, Hearing> Kinds(JsonNode contact)
    {
        var kinds = ImmutableSortedDictionary.CreateBuilder<FindingKind, Hearing>();
        foreach (var (name, _) in contact.Find("kinds")?.Members(0, 100) ?? [])
        {
            var node = contact.Find("kinds")!;
            if (!FindingNames.TryParse(name, out var kind))
            {
                node.Fault(SiteFileReader.Shown(name), "is no kind of alert");
            }
            else if (OneOf<Hearing>(node, name) is { } hearing)
            {
                kinds[kind] = hearing;
            }
        }

        return kinds.ToImmutable();
    }

    private static ImmutableSortedDictionary<Priority, int>? Minutes(JsonNode escalation)
    {
        if (escalation.Find("minutes") is not { } node || !node.IsObject(["low", "medium", "high", "critical"]))
        {
            return null;
        }

        var minutes = ImmutableSortedDictionary.CreateBuilder<Priority, int>();
        foreach (var priority in Enum.GetValues<Priority>())
        {
            var name = FindingNames.Of(priority);
            if (node.Positive(name, whole: true) is { } given)
            {
                if (given > MostMinutes)
                {
                    node.Fault(name, $"must be at most {MostMinutes}, a week");
                    continue;
                }

                minutes[priority] = (int)given;
            }
        }

        return minutes.ToImmutable();
    }

    private static T? OneOf<T>(JsonNode node, string member) where T : struct, Enum
    {
        if (node.Text(member) is not { } text)
        {
            return null;
        }

        foreach (var value in Enum.GetValues<T>())
        {
            if (value.ToString().Equals(text, StringComparison.OrdinalIgnoreCase) && text.All(char.IsAsciiLetterLower))
            {
                return value;
            }
        }

        node.Fault(SiteFileReader.Shown(member), $"must be one of {string.Join(", ", Enum.GetNames<T>().Select(name => name.ToLowerInvariant()))}");
        return null;
    }

    private static TimeOnly? Clock(string text) =>
        TimeOnly.TryParseExact(text, "HH:mm", CultureInfo.InvariantCulture, DateTimeStyles.None, out var time) ? time : null;

    private static bool LooksLikeAddress(string email) =>
        email.Length <= 254 && email.IndexOf('@', StringComparison.Ordinal) is > 0 and < 65 and var at && at == email.LastIndexOf('@')
        && at < email.Length - 1 && !email.Any(c => char.IsWhiteSpace(c) || c is '<' or '>' or ',' or ';' or '"' or '(' or ')' or ':');
}
