using System.Collections.Immutable;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Contracts;

public enum VisitState { Planned, Done, Cancelled }

/// <summary>Somebody who hears of a visit.</summary>
/// <param name="Name">What they are called.</param>
/// <param name="Email">Null for somebody who gets no letter.</param>
/// <param name="Language">A language tag.</param>
public sealed record VisitPerson(string Name, string? Email, string Language);

/// <summary>What was found about an alert.</summary>
/// <param name="Alert">Its id.</param>
/// <param name="CauseFound">A name of <see cref="Findings.FoundCauses"/>, or free text.</param>
public sealed record VisitFinding(string Alert, string CauseFound);

/// <summary>Somebody goes to a site.</summary>
/// <param name="Id">Made once; names it in calendars as well.</param>
/// <param name="Site">Where.</param>
/// <param name="StartsAt">UTC.</param>
/// <param name="Minutes">How long, <see cref="LeastMinutes"/> to <see cref="MostMinutes"/>.</param>
/// <param name="Visitor">Who goes.</param>
/// <param name="Invited">Who gets letters about it, the visitor included, each once; they stay the same, so that whoever was asked also hears of a change.</param>
/// <param name="Alert">Why: the alert's id; null for a routine visit.</param>
/// <param name="PlannedBy">The user's or key's name.</param>
/// <param name="CreatedAt">UTC.</param>
public sealed record Visit(
    string Id, SiteId Site, DateTimeOffset StartsAt, int Minutes, VisitPerson Visitor, ImmutableArray<VisitPerson> Invited, string? Alert, string PlannedBy,
    DateTimeOffset CreatedAt)
{
    public const int LeastMinutes = 5, MostMinutes = 24 * 60;

    /// <summary>Nobody plans further ahead than this on purpose.</summary>
    public static readonly TimeSpan MostAhead = TimeSpan.FromDays(2 * 366);

    public VisitState State { get; init; }

    /// <summary>How often it was changed: the <c>SEQUENCE</c> of RFC 5545, by which calendars tell the newer of two.</summary>
    public int Sequence { get; init; }

    /// <summary>When somebody was there, UTC; null until then.</summary>
    public DateTimeOffset? DoneAt { get; init; }

    public ImmutableArray<VisitFinding> Found { get; init; } = [];

    /// <summary>What else there was to say of it; null for nothing.</summary>
    public string? Notes { get; init; }

    public DateTimeOffset EndsAt => StartsAt.AddMinutes(Minutes);

    public bool IsRoutine => Alert is null;

    /// <summary>Somebody was there for this alert.</summary>
    public bool Answers(string alert) => State == VisitState.Done && (Alert == alert || Found.Any(found => found.Alert == alert));

    /// <summary>At another time; only while it is planned.</summary>
    public Visit MovedTo(DateTimeOffset startsAt, int minutes) => this with { StartsAt = startsAt, Minutes = minutes, Sequence = Sequence + 1 };

    public Visit Cancelled() => this with { State = VisitState.Cancelled, Sequence = Sequence + 1 };

    public Visit Done(DateTimeOffset at, ImmutableArray<VisitFinding> found, string? notes) =>
        this with { State = VisitState.Done, DoneAt = at, Found = found, Notes = notes };

    /// <summary>Who is to hear of a visit: the visitor, and the caretakers of the site who want letters.</summary>
    /// <param name="visitor">Who goes; with the language of the contact of the same address, if there is one.</param>
    /// <param name="contacts">Of the site.</param>
    public static (VisitPerson Visitor, ImmutableArray<VisitPerson> Invited) Invite(VisitPerson visitor, IEnumerable<Contact> contacts)
    {
        var known = contacts.Where(contact => contact.Email is not null).ToList();
        var going = known.FirstOrDefault(contact => Same(contact.Email, visitor.Email)) is { } same ? visitor with { Language = same.Language } : visitor;
        var caretakers = known.Where(contact => contact is { Role: "caretaker", Declined: false }).Select(contact => new VisitPerson(contact.Name, contact.Email, contact.Language));
        return (going, [.. caretakers.Prepend(going).Where(person => person.Email is not null).DistinctBy(person => person.Email!.ToLowerInvariant())]);

        static bool Same(string? a, string? b) => string.Equals(a, b, StringComparison.OrdinalIgnoreCase);
    }
}
