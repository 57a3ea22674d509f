using System.Collections.Immutable;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;

namespace TankWatch.Core.Notifications;

/// <summary>An alert, and how often its condition came back since the last digest.</summary>
public sealed record DigestAlert(Alert Alert, int Returned);

/// <summary>A line of a digest.</summary>
/// <param name="Gravity">Of the alert that it is about.</param>
/// <param name="Says">In the language of whoever reads it.</param>
public sealed record DigestLine(Priority Gravity, Phrase Says);

/// <summary>What a person is told once a day or a week of what could wait, and when.</summary>
public static class Digest
{
    /// <summary>Coming back so often since the last digest is a line of its own (our choice; ISA-18.2 leaves the number of a chattering alarm to each plant).</summary>
    public const int ChattersFrom = 3;

    /// <summary>ISA-18.2 calls an alarm stale that has been on for a day.</summary>
    public static readonly TimeSpan StaleAfter = TimeSpan.FromDays(1);

    /// <summary>Lines that anybody reads in one mail, and of one site; what is above is counted (our choice).</summary>
    public const int MostLines = 100, MostOfASite = 20;

    private static readonly TimeOnly WrittenAt = new(7, 0);

    /// <summary>The newest moment at or before a time at which a digest was to be written: seven in the morning, if weekly that of a Monday.</summary>
    /// <param name="now">Wall clock, UTC.</param>
    /// <param name="zone">The person's.</param>
    /// <param name="rhythm">Daily or weekly.</param>
    public static DateTimeOffset LastDue(DateTimeOffset now, TimeZoneInfo zone, DigestRhythm rhythm)
    {
        var day = DateOnly.FromDateTime(TimeZoneInfo.ConvertTime(now, zone).DateTime);
        while (Due(day, zone) > now || (rhythm == DigestRhythm.Weekly && day.DayOfWeek != DayOfWeek.Monday))
        {
            day = day.AddDays(-1);
        }

        return Due(day, zone);
    }

    /// <summary>One line for each alert of a site of which a person is to be told: worst first.</summary>
    /// <param name="alerts">Those that are open, or ended since the last digest.</param>
    /// <param name="contact">The person, as the site has them.</param>
    /// <param name="zone">The site's.</param>
    /// <param name="since">The last digest.</param>
    /// <param name="now">Wall clock, UTC.</param>
    public static ImmutableArray<DigestLine> LinesOf(IEnumerable<DigestAlert> alerts, Contact contact, TimeZoneInfo zone, DateTimeOffset since, DateTimeOffset now) =>
        [.. alerts.OrderByDescending(alert => alert.Alert.Gravity).ThenBy(alert => alert.Alert.Finding.Since)
            .Select(alert => (alert.Alert.Gravity, Says: Line(alert, contact, zone, since, now))).Where(line => line.Says is not null).Select(line => new DigestLine(line.Gravity, line.Says!))];

    private static Phrase? Line(DigestAlert digested, Contact contact, TimeZoneInfo zone, DateTimeOffset since, DateTimeOffset now)
    {
        var alert = digested.Alert;
        var whyNot = DutyRoster.WhyNot(alert, contact);
        if (alert.Correction == AlertCorrection.Withdrawn || whyNot is NotifyReason.NotWanted or NotifyReason.NobodyToTell)
        {
            return null;
        }

        var began = PhraseMoment.In(zone, alert.Finding.Since);
        var holds = alert.Finding.IsOpen && alert.State is AlertState.Unacknowledged or AlertState.Acknowledged;
        if (digested.Returned >= ChattersFrom)
        {
            return holds ? About("digest.returns.open", alert, ("count", digested.Returned), ("at", began)) : About("digest.returns.over", alert, ("count", digested.Returned));
        }

        if (holds && now - alert.Finding.RaisedAt >= StaleAfter)
        {
            return About("digest.stale", alert, ("at", began), ("priority", Terms.Of(alert.Gravity)));
        }

        if (whyNot != NotifyReason.InDigest || !alert.Notices.Any(notice => since <= notice.At && notice.At < now))
        {
            return null;
        }

        return alert.Finding.ClearedAt is { } cleared ? About("digest.over", alert, ("from", began), ("to", PhraseMoment.In(zone, cleared)))
            : alert.IsOpen ? About("digest.open", alert, ("at", began), ("priority", Terms.Of(alert.Gravity)))
            : About("digest.closed", alert, ("from", began));
    }

    private static Phrase About(string key, Alert alert, params ReadOnlySpan<(string Name, PhraseValue Value)> more) =>
        Phrase.Of(key, [("kind", Terms.Name(alert.Finding.Kind)), ("device", alert.Finding.Device.Value), .. more]);

    /// <remarks>The offset of the clock that is in force then, so that a morning that a change of clocks leaves out does no harm.</remarks>
    private static DateTimeOffset Due(DateOnly day, TimeZoneInfo zone)
    {
        var local = day.ToDateTime(WrittenAt);
        return new(local, zone.GetUtcOffset(local));
    }
}
