using System.Collections.Immutable;
using System.Security.Cryptography;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Contracts;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;
using TankWatch.Service.Api;
using TankWatch.Service.Mail;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Visits;

/// <summary>A visit that somebody wants.</summary>
/// <param name="StartsAt">To come.</param>
/// <param name="Minutes">How long.</param>
/// <param name="Name">Who goes.</param>
/// <param name="Email">Theirs; null for somebody who gets no letter.</param>
/// <param name="Alert">Why; null for a routine visit.</param>
internal sealed record WantedVisit(DateTimeOffset StartsAt, int Minutes, string Name, string? Email, string? Alert);

/// <summary>What became of a wish.</summary>
internal abstract record VisitOutcome
{
    public sealed record Done(Visit Visit) : VisitOutcome;

    /// <param name="Status">Of HTTP.</param>
    /// <param name="Why">One sentence.</param>
    public sealed record Refused(int Status, Phrase Why) : VisitOutcome;
}

/// <summary>Plans, moves and ends visits, for API and page alike; whoever was asked hears of it by mail.</summary>
internal sealed class VisitDesk(LedgerStore ledger, MailComposer composer, OutboxBell bell, AlertDesk alerts, TimeProvider time)
{
    private const int NameMax = 100, MostFound = 100;

    /// <summary>What is promised and who goes is for those to say who mend things.</summary>
    public static bool MayChange(Caller caller) => caller.Role is "installer" or "operator";

    /// <summary>Null too when the caller may not see it.</summary>
    public Visit? Find(string id, Caller caller) => ledger.FindVisit(id) is { } visit && caller.Sees(visit.Site) ? visit : null;

    public VisitOutcome Plan(SitePlan site, Caller caller, WantedVisit wanted)
    {
        var now = time.GetUtcNow();
        if (FaultOf(caller) is { } refused)
        {
            return refused;
        }

        if (FaultOf(wanted.StartsAt, wanted.Minutes, now) is { } fault)
        {
            return fault;
        }

        var (name, email) = (wanted.Name.Trim(), string.IsNullOrWhiteSpace(wanted.Email) ? null : wanted.Email.Trim());
        if (name.Length is 0 or > NameMax || name.Any(char.IsControl))
        {
            return Bad(Phrase.Of("visits.fault.name", ("most", NameMax)));
        }

        if (email is not null && MailComposer.AddressOf(email) is null)
        {
            return Bad(Phrase.Of("visits.fault.email"));
        }

        if (wanted.Alert is { } alert && FindAlert(alert, site.Id) is null)
        {
            return Bad(Phrase.Of("visits.fault.alert"));
        }

        var (visitor, invited) = Visit.Invite(new(name, email, "en"), site.Contacts);
        var id = "visit-" + Convert.ToHexStringLower(RandomNumberGenerator.GetBytes(16));
        return Put(new(id, site.Id, wanted.StartsAt.ToUniversalTime(), wanted.Minutes, visitor, invited, wanted.Alert, caller.Name, now), null, site, VisitNews.Planned);
    }

    /// <param name="visit">As it was read.</param>
    /// <param name="site">Its site.</param>
    /// <param name="caller">Who asks.</param>
    /// <param name="startsAt">To come.</param>
    /// <param name="minutes">Null for as long as before.</param>
    public VisitOutcome Move(Visit visit, SitePlan site, Caller caller, DateTimeOffset startsAt, int? minutes) =>
        FaultOf(caller) ?? FaultOf(visit) ?? FaultOf(startsAt, minutes ?? visit.Minutes, time.GetUtcNow())
        ?? Put(visit.MovedTo(startsAt.ToUniversalTime(), minutes ?? visit.Minutes), visit, site, VisitNews.Moved);

    public VisitOutcome Cancel(Visit visit, SitePlan site, Caller caller) =>
        FaultOf(caller) ?? FaultOf(visit) ?? Put(visit.Cancelled(), visit, site, VisitNews.Cancelled);

    /// <summary>Notes what came of a visit, and closes each alert with what was found.</summary>
    /// <remarks>Alerts first: when that stops half-way, the visit is still planned and the same wish, made again, goes on where it stopped.</remarks>
    /// <param name="visit">As it was read.</param>
    /// <param name="site">Its site.</param>
    /// <param name="caller">Who asks.</param>
    /// <param name="doneAt">When somebody was there; null for now.</param>
    /// <param name="found">By alert.</param>
    /// <param name="notes">Null for none.</param>
    /// <param name="stop">The request's end.</param>
    public async Task<VisitOutcome> EndAsync(
        Visit visit, SitePlan site, Caller caller, DateTimeOffset? doneAt, ImmutableArray<VisitFinding> found, string? notes, CancellationToken stop)
    {
        var now = time.GetUtcNow();
        if ((FaultOf(caller) ?? FaultOf(visit)) is { } fault)
        {
            return fault;
        }

        // A visit before it was planned would make good what was missed.
        if (doneAt < visit.CreatedAt || doneAt > now)
        {
            return Bad(Phrase.Of("visits.fault.done-at"));
        }

        if (found.Length > MostFound || found.DistinctBy(one => one.Alert).Count() != found.Length || found.Any(one => FindAlert(one.Alert, site.Id) is null))
        {
            return Bad(Phrase.Of("visits.fault.alert"));
        }

        if (AlertDesk.FaultOf(found, notes) is { } unreadable)
        {
            return Bad(unreadable);
        }

        foreach (var one in found.Where(one => FindAlert(one.Alert, site.Id)?.CauseFound != one.CauseFound))
        {
            if (await alerts.AskAsync(one.Alert, caller, new Close(one.Alert, caller.Name, one.CauseFound, notes), stop, one.CauseFound, notes) is (var status, null, var whyNot))
            {
                return new VisitOutcome.Refused(status, whyNot ?? Phrase.Of("problem.alert"));
            }
        }

        return Put(visit.Done(doneAt?.ToUniversalTime() ?? now, found, notes), visit, site, null);
    }

    public Alert? FindAlert(string id, SiteId site) => ledger.FindAlert(id) is { } alert && alert.Site == site ? alert : null;

    private VisitOutcome Put(Visit visit, Visit? before, SitePlan site, VisitNews? news)
    {
        if (!ledger.PutVisit(visit, before, news is { } said ? Letters(visit, site, said) : []))
        {
            return new VisitOutcome.Refused(StatusCodes.Status409Conflict, Phrase.Of("visits.fault.changed"));
        }

        bell.Ring();
        return new VisitOutcome.Done(visit);
    }

    private List<VisitMail> Letters(Visit visit, SitePlan site, VisitNews news)
    {
        var (installation, why) = (ledger.GetInstallation(), VisitWords.Why(visit.Alert is { } alert ? ledger.FindAlert(alert) : null));
        return [.. visit.Invited.Select((person, i) => new VisitMail(
            KeyOf(visit.Sequence, i), composer.MessageIdOf(KeyOf(visit.Sequence, i), installation), new(person.Name, person.Email, null, "visit", person.Language),
            [.. Enumerable.Range(0, visit.Sequence).Select(sequence => KeyOf(sequence, i))], news, visit, why, site.Name, site.TimeZone.Id))];

        string KeyOf(int sequence, int person) => string.Create(System.Globalization.CultureInfo.InvariantCulture, $"{visit.Id}.{sequence}.person.{person}");
    }

    private static VisitOutcome.Refused? FaultOf(Caller caller) =>
        MayChange(caller) ? null : new(StatusCodes.Status403Forbidden, Phrase.Of("visits.fault.role"));

    private static VisitOutcome.Refused? FaultOf(Visit visit) =>
        visit.State == VisitState.Planned ? null : new(StatusCodes.Status409Conflict, Phrase.Of("visits.fault.not-planned"));

    private static VisitOutcome.Refused? FaultOf(DateTimeOffset startsAt, int minutes, DateTimeOffset now) =>
        startsAt <= now ? Bad(Phrase.Of("visits.fault.past"))
        : startsAt > now + Visit.MostAhead ? Bad(Phrase.Of("visits.fault.far"))
        : minutes is < Visit.LeastMinutes or > Visit.MostMinutes ? Bad(Phrase.Of("visits.fault.minutes", ("least", Visit.LeastMinutes), ("most", Visit.MostMinutes)))
        : null;

    private static VisitOutcome.Refused Bad(Phrase why) => new(StatusCodes.Status400BadRequest, why);
}
