using System.Globalization;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;

namespace TankWatch.Service.Pages.Alerts;

/// <summary>How pages speak of alerts.</summary>
internal static class AlertWords
{
    public static string Kind(FindingKind kind) => Spaced(FindingNames.Of(kind));

    public static string Spaced(string name) => name.Replace('-', ' ');

    /// <summary>Where an alert stands, as one sentence.</summary>
    public static IReadOnlyList<Said> State(Alert alert, DateTimeOffset now, TimeZoneInfo zone) => alert.State switch
    {
        AlertState.Unacknowledged => ["Nobody has acknowledged it yet."],
        AlertState.Acknowledged => [Said.Name(alert.AcknowledgedBy ?? "somebody"), $" acknowledged it{(alert.AcknowledgedAt is { } at ? $" ({Words.Near(at, now, zone)})" : "")}; it still holds."],
        AlertState.ReturnedUnacknowledged => [$"It is over{(alert.Finding.ClearedAt is { } cleared ? $" since {Words.Near(cleared, now, zone)}" : "")}, and nobody has acknowledged it."],
        AlertState.Shelved => [$"It is put aside until {(alert.ShelvedUntil is { } until ? Words.Local(until, zone) : "later")}."],
        AlertState.OutOfService => ["Its device is out of service; nobody is told of it until it is returned."],
        AlertState.Suppressed => ["Another alert explains it; nobody is told of it by itself."],
        _ => [Ending(alert)],
    };

    /// <summary>How an alert of the past ended.</summary>
    public static string Ending(Alert alert) => alert switch
    {
        { Correction: AlertCorrection.Withdrawn } => "Withdrawn: late messages showed that it never was.",
        { CauseFound: not null } => "Closed by hand.",
        { Correction: AlertCorrection.Moved } => "It ended by itself; late messages moved its times.",
        _ => "It ended by itself.",
    };

    /// <summary>How sure a cause is. Never in per cent: the probes cannot tell so finely.</summary>
    /// <summary>"likely (55 %)": the word for most, the figure for who weighs causes against each other.</summary>
    public static string Sureness(double probability) => probability switch
    {
        >= 0.95 => "certain as far as the probes can tell",
        >= 0.75 => $"most likely ({Percent(probability)})",
        >= 0.4 => $"likely ({Percent(probability)})",
        >= 0.1 => $"possible ({Percent(probability)})",
        _ => $"not likely ({Percent(probability)})",
    };

    private static string Percent(double probability) => string.Create(CultureInfo.InvariantCulture, $"{probability * 100:0} %");

    public static string Size(Quantity size) => string.Create(
        CultureInfo.InvariantCulture,
        $"{Spaced(size.Name)}: {size.Size.Value:0.#} {size.Unit}, between {size.Size.Low:0.#} and {size.Size.High:0.#} nine times in ten");

    /// <summary>An event of an alert's life, without its note.</summary>
    public static IReadOnlyList<Said> Event(AlertEvent happened, TimeZoneInfo zone) => happened switch
    {
        AlertRaised => ["It was raised."],
        AlertReraised => ["It came back."],
        AlertReturned => ["It ceased."],
        AlertCorrected { Correction: AlertCorrection.Withdrawn } => ["It was withdrawn: late messages showed that it never was."],
        AlertCorrected => ["Late messages moved its times."],
        AlertReworded => ["Late messages changed what is known of it."],
        AlertAcknowledged e => [Said.Name(e.By), " acknowledged it."],
        AlertNoted e => [Said.Name(e.By), " noted:"],
        AlertShelved e => [Said.Name(e.By), $" put it aside until {Words.Local(e.Until, zone)}."],
        AlertUnshelved { By: { } by } => [Said.Name(by), " took it off the shelf."],
        AlertUnshelved => ["Its time on the shelf ran out."],
        AlertTakenOutOfService { By: null } => ["Its device was out of service already."],
        AlertTakenOutOfService e => [Said.Name(e.By!), " took the device out of service."],
        AlertReturnedToService e => [Said.Name(e.By), " returned the device to service."],
        AlertClosed e => [Said.Name(e.By), " closed it. Found:"],
        AlertSuppressed => ["Another alert explains it."],
        AlertCauseEnded => ["What explained it is over."],
        AlertReleased => ["It outlasted what explained it."],
        AlertTimerMoved => ["The clock was set; what waits goes on waiting for as long."],
        AlertNotified e => [Notice(e.Reason)],
        _ => ["Something happened that this version cannot name."],
    };

    /// <summary>What was written with an event.</summary>
    public static string? Note(AlertEvent happened) => happened switch
    {
        AlertAcknowledged e => e.Note,
        AlertNoted e => e.Note,
        AlertShelved e => e.Reason,
        AlertTakenOutOfService e => e.Note,
        AlertClosed e => e.Note is null ? FoundWords.Of(e.CauseFound) : $"{FoundWords.Of(e.CauseFound)}\n{e.Note}",
        _ => null,
    };

    private static string Notice(NotifyReason reason) => reason switch
    {
        NotifyReason.Cleared => "People were to be told that it is over.",
        NotifyReason.Reopened => "People were to be told that it is back.",
        NotifyReason.Escalated => "Nobody acknowledged it in time: the next people were to be told of it.",
        NotifyReason.Graver => "People were to be told that something graver follows from it.",
        NotifyReason.StillHolds => "People were to be told that it still holds.",
        _ => "People were to be told of it.",
    };
}
