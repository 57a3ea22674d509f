using System.Collections.Immutable;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Mail;

/// <summary>Which mails one person gets now of what is due for them.</summary>
/// <param name="Alone">Those that go as they are: first the critical, then by intention.</param>
/// <param name="Gathered">Those that are said in one mail, by intention; none, or at least two.</param>
/// <param name="Held">Those that would be one mail too many.</param>
internal sealed record Arrangement(ImmutableArray<OutboxEntry> Alone, ImmutableArray<OutboxEntry> Gathered, ImmutableArray<OutboxEntry> Held);

/// <summary>
/// Several letters that waited for one person become one mail, and nobody gets more than so many mails an hour that are not critical.
/// What is critical goes at once and by itself; only after an outage of mail, when everything goes at once, it is said with the rest.
/// Letters about visits answer what somebody did and are of no use later: they are neither gathered, nor held, nor counted.
/// </summary>
internal static class Gathering
{
    /// <summary>Mails to one person that are not critical, in any hour (our choice: EEMUA 191 and ISA-18.2 call six alarms an hour acceptable).</summary>
    public const int MostAnHour = 6;

    public static readonly TimeSpan Hour = TimeSpan.FromHours(1);

    /// <param name="due">All that is due for the person, by intention.</param>
    /// <param name="free">How many mails that are not critical may go to them now.</param>
    public static Arrangement Of(IReadOnlyList<OutboxEntry> due, int free)
    {
        // A letter that was tried may have arrived although no answer said so: it goes on under its own Message-ID.
        var untried = due.Where(entry => entry is { Mail: OutboxLetter, Attempts: 0 } && (!entry.IsCritical || entry.KeptBy == WaitReason.Outage)).ToImmutableArray();
        var gathered = untried.Length > 1 && untried.Any(entry => entry.WaitedFor is not null) ? untried : [];
        var held = ImmutableArray.CreateBuilder<OutboxEntry>();
        if (!gathered.IsEmpty && gathered.All(entry => !entry.IsCritical) && free-- <= 0)
        {
            held.AddRange(gathered);
            gathered = [];
        }

        var placed = gathered.Concat(held).Select(entry => entry.Position).ToHashSet();
        var alone = ImmutableArray.CreateBuilder<OutboxEntry>();
        foreach (var entry in due.Where(entry => !placed.Contains(entry.Position)).OrderByDescending(entry => entry.IsCritical).ThenBy(entry => entry.Position))
        {
            (entry.IsCritical || entry.Mail is VisitMail || free-- > 0 ? alone : held).Add(entry);
        }

        return new(alone.ToImmutable(), gathered, held.ToImmutable());
    }

    /// <summary>When the next mail may go to somebody who has had their share, or gets the rest of it now.</summary>
    /// <param name="sendings">Of the last hour, the oldest first.</param>
    /// <param name="now">Wall clock, UTC.</param>
    public static DateTimeOffset NextFree(IReadOnlyList<DateTimeOffset> sendings, DateTimeOffset now) =>
        (sendings.Count >= MostAnHour ? sendings[^MostAnHour] : sendings.Count > 0 ? sendings[0] : now) + Hour;

    /// <returns>What they waited for, each reason once.</returns>
    public static ImmutableArray<WaitReason> WhyOf(IEnumerable<OutboxEntry> gathered) => [.. gathered.Select(entry => entry.WaitedFor).OfType<WaitReason>().Distinct().Order()];
}
