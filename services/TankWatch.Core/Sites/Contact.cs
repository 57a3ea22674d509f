using System.Collections.Immutable;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;

namespace TankWatch.Core.Sites;

/// <summary>How a person wants to hear of a kind of alert.</summary>
public enum Hearing { Now, Digest, Never }

/// <summary>How often a person gets a digest of what could wait.</summary>
public enum DigestRhythm { None, Daily, Weekly }

/// <summary>Somebody who is told of a site's alerts.</summary>
/// <param name="Name">What they are called.</param>
/// <param name="Email">Null for somebody whom this service cannot reach.</param>
/// <param name="Phone">For people to call; this service does not.</param>
/// <param name="Role">Whose turn it is, see <see cref="Escalation"/>: <c>caretaker</c>, <c>installer</c>, or any other.</param>
/// <param name="Language">A language tag, such as <c>ta</c>.</param>
public sealed record Contact(string Name, string? Email, string? Phone, string Role, string Language)
{
    /// <summary>When nothing but the critical may disturb them, in the site's time zone.</summary>
    public QuietHours? Quiet { get; init; }

    /// <summary>Below this an alert waits for the digest.</summary>
    public Priority From { get; init; } = Priority.Medium;

    /// <summary>Kinds heard of in another way than their priority says; no kind is kept from anyone while it is critical.</summary>
    public ImmutableSortedDictionary<FindingKind, Hearing> Kinds { get; init; } = ImmutableSortedDictionary<FindingKind, Hearing>.Empty;

    public DigestRhythm Digest { get; init; } = DigestRhythm.Daily;

    /// <summary>They asked to be told of nothing but the critical.</summary>
    public bool Declined { get; init; }
}

/// <summary>Who is asked after whom when nobody answers, and how long each is given.</summary>
/// <param name="Order">Roles, first to last; roles that contacts have and that do not stand here come after them, in the order of the contacts.</param>
/// <param name="Minutes">By priority, critical excepted never; a priority that is left out stays with the first role.</param>
public sealed record Escalation(ImmutableArray<string> Order, ImmutableSortedDictionary<Priority, int> Minutes)
{
    /// <summary>A quarter of an hour for what is critical, an hour for what is high, four for the rest (our choice, no source).</summary>
    public static readonly Escalation Usual = new(
        ["caretaker", "installer"],
        ImmutableSortedDictionary<Priority, int>.Empty.Add(Priority.Critical, 15).Add(Priority.High, 60).Add(Priority.Medium, 240));

    public TimeSpan? PatienceWith(Priority priority) => Minutes.TryGetValue(priority, out var minutes) ? TimeSpan.FromMinutes(minutes) : null;
}
