using TankWatch.Core.Alerts;
using TankWatch.Core.Contracts;
using TankWatch.Core.Texts;
using TankWatch.Service.Mail;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Visits;

/// <summary>What is said of a visit in mails and calendars.</summary>
internal static class VisitWords
{
    private const int SubjectMax = 150;

    /// <summary>Why somebody goes.</summary>
    /// <param name="alert">Null for a routine visit.</param>
    public static Phrase Why(Alert? alert) => alert is null
        ? Phrase.Of("visits.mail.routine")
        : Phrase.Of("visits.mail.alert", ("id", alert.Id), ("kind", Terms.Name(alert.Finding.Kind)), ("device", alert.Finding.Device.Value));

    /// <summary>The same for all letters about a visit, so that mail programs which thread by subject keep the thread.</summary>
    public static string Subject(VisitMail mail, Language language)
    {
        var subject = MailWords.OneLine(language.Say(Phrase.Of("visits.mail.subject", ("site", mail.SiteName))), SubjectMax);
        return mail.ThreadKeys.IsEmpty ? subject : "Re: " + subject;
    }

    /// <summary>First what is new, then when, for how long, who and why; each on one line.</summary>
    public static IReadOnlyList<string> Lines(VisitMail mail, Language language)
    {
        var news = mail.News switch
        {
            VisitNews.Moved => Phrase.Of("visits.mail.moved", ("site", mail.SiteName)),
            VisitNews.Cancelled => Phrase.Of("visits.mail.cancelled", ("site", mail.SiteName)),
            _ => Phrase.Of("visits.mail.planned", ("site", mail.SiteName)),
        };
        return [.. Details(mail.Visit, mail.Why, ZoneOf(mail.TimeZone), language).Prepend(language.Say(news)).Select(line => MailWords.OneLine(line))];
    }

    /// <summary>When, for how long, who and why.</summary>
    public static IEnumerable<string> Details(Visit visit, Phrase why, TimeZoneInfo zone, Language language) => ((Phrase[])
    [
        Phrase.Of("visits.mail.when", ("at", Phrase.Of("mail.moment", ("at", PhraseMoment.In(zone, visit.StartsAt)), ("zone", zone.Id)))),
        Phrase.Of("visits.mail.lasts", ("span", Phrase.Of("span.minutes", ("n", visit.Minutes)))),
        Phrase.Of("visits.mail.who", ("name", visit.Visitor.Name)),
        why,
    ]).Select(language.Say);

    public static TimeZoneInfo ZoneOf(string id) => TimeZoneInfo.TryFindSystemTimeZoneById(id, out var found) ? found : TimeZoneInfo.Utc;
}
