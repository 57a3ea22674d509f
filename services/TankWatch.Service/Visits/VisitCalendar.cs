using System.Text;
using Ical.Net;
using Ical.Net.CalendarComponents;
using Ical.Net.DataTypes;
using Ical.Net.Serialization;
using TankWatch.Core.Contracts;
using TankWatch.Core.Texts;
using TankWatch.Service.Mail;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Visits;

/// <summary>A visit as calendar programs read it: RFC 5545, and RFC 5546 for invitations.</summary>
/// <remarks>
/// Times stand in UTC. A visit is one moment, not a rule, so that no zone is needed to say it, and the library's own zones are not sound: in 5.2.4 that of
/// Casablanca for 2026 is two rules of standard time from offsets that it never has, and Cairo's summer ends a day early. What a person reads,
/// the description, is in the site's own time.
/// </remarks>
internal static class VisitCalendar
{
    private const int MostOctets = 75; // RFC 5545, 3.1, the line end not counted.
    private const string Product = "-//TankWatch//Visits//EN";

    /// <summary>For those who were asked: a change has the same UID and a higher SEQUENCE, and a visit that is off is a CANCEL.</summary>
    /// <param name="mail">To one of them; all are named.</param>
    /// <param name="organizer">The mail address that it comes from.</param>
    /// <param name="stamp">When it was intended.</param>
    /// <param name="language">Of the reader.</param>
    public static string Invite(VisitMail mail, string organizer, DateTimeOffset stamp, Language language)
    {
        var planned = EventOf(mail.Visit, mail.SiteName, mail.Why, VisitWords.ZoneOf(mail.TimeZone), stamp, language);
        planned.Organizer = new Organizer($"mailto:{MimeKit.MailboxAddress.Parse(organizer).Address}") { CommonName = "TankWatch" };
        foreach (var person in mail.Visit.Invited.Where(person => MailComposer.AddressOf(person.Email) is not null))
        {
            planned.Attendees.Add(new Attendee($"mailto:{person.Email}")
            {
                // Nobody reads answers: none is asked for.
                CommonName = MailWords.OneLine(person.Name, 100), Rsvp = false, ParticipationStatus = EventParticipationStatus.NeedsAction, Role = ParticipationRole.RequiredParticipant,
            });
        }

        return Write(planned, mail.News == VisitNews.Cancelled ? CalendarMethods.Cancel : CalendarMethods.Request);
    }

    /// <summary>For whoever opens it: people are not named but for the one who goes.</summary>
    public static string Publish(Visit visit, string siteName, Phrase why, TimeZoneInfo zone, DateTimeOffset stamp, Language language) =>
        Write(EventOf(visit, siteName, why, zone, stamp, language), CalendarMethods.Publish);

    private static CalendarEvent EventOf(Visit visit, string siteName, Phrase why, TimeZoneInfo zone, DateTimeOffset stamp, Language language) => new()
    {
        Uid = $"{visit.Id}@tankwatch",
        Sequence = visit.Sequence,
        DtStamp = Utc(stamp),
        Start = Utc(visit.StartsAt),
        End = Utc(visit.EndsAt),
        Summary = MailWords.OneLine(language.Say(Phrase.Of("visits.mail.subject", ("site", siteName))), 150),
        Location = MailWords.OneLine(siteName, 150),
        Description = string.Join('\n', VisitWords.Details(visit, why, zone, language).Select(line => MailWords.OneLine(line))),
        Status = visit.State == VisitState.Cancelled ? EventStatus.Cancelled : EventStatus.Confirmed,
    };

    private static string Write(CalendarEvent planned, string method)
    {
        var calendar = new Calendar { Method = method, ProductId = Product };
        calendar.Events.Add(planned);
        return Fold(new CalendarSerializer().SerializeToString(calendar)!);
    }

    /// <summary>Folds lines anew: the library counts characters of UTF-16 and cuts those that take two of them, so that they are lost.</summary>
    private static string Fold(string calendar)
    {
        var (folded, octets) = (new StringBuilder(calendar.Length), 0);
        foreach (var rune in calendar.Replace("\r\n ", "", StringComparison.Ordinal).EnumerateRunes())
        {
            if (octets + rune.Utf8SequenceLength > MostOctets && rune.Value is not ('\r' or '\n'))
            {
                folded.Append("\r\n ");
                octets = 1;
            }

            folded.Append(rune.ToString());
            octets = rune.Value is '\r' or '\n' ? 0 : octets + rune.Utf8SequenceLength;
        }

        return folded.ToString();
    }

    /// <summary>Whole seconds: the format has no finer ones.</summary>
    private static CalDateTime Utc(DateTimeOffset at) => new(DateTime.SpecifyKind(at.UtcDateTime.AddTicks(-(at.UtcTicks % TimeSpan.TicksPerSecond)), DateTimeKind.Utc));
}
