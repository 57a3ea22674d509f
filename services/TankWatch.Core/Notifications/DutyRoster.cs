using System.Collections.Immutable;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Notifications;

/// <summary>Who is told of an alert, in which order, and when. Only people with an address stand in it, each once.</summary>
/// <param name="Steps">The people of one role each; the next are asked when these do not answer.</param>
/// <param name="Escalation">How long each step is given.</param>
/// <param name="Zone">The site's, for quiet hours.</param>
public sealed record DutyRoster(ImmutableArray<ImmutableArray<Contact>> Steps, Escalation Escalation, TimeZoneInfo Zone)
{
    public static DutyRoster Of(SitePlan plan) => Of(plan.Contacts, plan.Escalation, plan.TimeZone);

    public static DutyRoster Of(IEnumerable<Contact> contacts, Escalation escalation, TimeZoneInfo zone)
    {
        var reachable = contacts.Where(contact => contact.Email is not null).DistinctBy(contact => contact.Email!.ToLowerInvariant()).ToList();
        var roles = escalation.Order.Concat(reachable.Select(contact => contact.Role)).Distinct(StringComparer.OrdinalIgnoreCase);
        return new(
            [.. roles.Select(role => reachable.Where(contact => string.Equals(contact.Role, role, StringComparison.OrdinalIgnoreCase)).ToImmutableArray())
                .Where(step => !step.IsEmpty)],
            escalation, zone);
    }

    /// <summary>The people of the steps from one to another, both included; a roster that has become shorter since gives what it has.</summary>
    public IEnumerable<Contact> Between(int first, int last) => Steps.Take(last + 1).Skip(first).SelectMany(step => step);

    /// <summary>The first step, from one on, of which anybody wants to hear of an alert: nothing is gained by waiting for those who do not. Without any, the one given.</summary>
    public int HearingFrom(int step, Alert alert)
    {
        var wanting = Steps.Skip(step).TakeWhile(people => people.All(contact => WhyNot(alert, contact) == NotifyReason.NotWanted)).Count() + step;
        return wanting < Steps.Length ? wanting : step;
    }

    /// <summary>When the step after this one hears, if nobody acknowledges; null when there is none or the alert may wait.</summary>
    /// <param name="alert">That is told now.</param>
    /// <param name="step">That hears now.</param>
    /// <param name="now">Wall clock, UTC.</param>
    public DateTimeOffset? NextAt(Alert alert, int step, DateTimeOffset now)
    {
        if (step + 1 >= Steps.Length || Escalation.PatienceWith(alert.Gravity) is not { } patience)
        {
            return null;
        }

        // Nobody is passed over in their sleep: the time runs from when the first of them can have heard.
        var heard = Steps[step].Where(contact => WhyNot(alert, contact) is null).Select(contact => HearsAt(alert, contact, now)).DefaultIfEmpty(now).Min();
        return heard + patience;
    }

    /// <summary>When a person hears what is told now: at the end of their quiet hours, unless it is critical.</summary>
    public DateTimeOffset HearsAt(Alert alert, Contact contact, DateTimeOffset now) =>
        alert.Gravity < Priority.Critical && contact.Quiet is { } quiet ? quiet.EndAfter(now, Zone) : now;

    /// <summary>Why a notice goes by a person at present; null when it does not. What is critical goes by nobody.</summary>
    public static NotifyReason? WhyNot(Alert alert, Contact contact) => (contact, Wish(alert, contact)) switch
    {
        ({ Email: null }, _) => NotifyReason.NobodyToTell,
        _ when alert.Gravity == Priority.Critical => null,
        ({ Declined: true }, _) or (_, Hearing.Never) => NotifyReason.NotWanted,
        (_, Hearing.Digest) => NotifyReason.InDigest,
        _ => null,
    };

    private static Hearing Wish(Alert alert, Contact contact) =>
        contact.Kinds.TryGetValue(alert.Finding.Kind, out var wish) ? wish : alert.Gravity < contact.From ? Hearing.Digest : Hearing.Now;
}
