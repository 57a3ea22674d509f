using System.Collections.Immutable;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;
using TankWatch.Core.Texts;
using TankWatch.Core.Time;

namespace TankWatch.Service.Pages.Alerts;

/// <summary>How pages speak of alerts.</summary>
internal static class AlertWords
{
    /// <summary>Where an alert stands, as one sentence.</summary>
    public static ImmutableArray<Said> State(Alert alert, DateTimeOffset now, TimeZoneInfo zone) => alert switch
    {
        { State: AlertState.Unacknowledged } => Said.Of("alert.state.unacknowledged"),
        { State: AlertState.Acknowledged, AcknowledgedAt: { } at } => Said.Of("alert.state.acknowledged.at", ("person", PersonOf(alert)), ("at", LocalClock.Near(at, now, zone))),
        { State: AlertState.Acknowledged } => Said.Of("alert.state.acknowledged", ("person", PersonOf(alert))),
        { State: AlertState.ReturnedUnacknowledged, Finding.ClearedAt: { } at } => Said.Of("alert.state.returned.since", ("at", LocalClock.Near(at, now, zone))),
        { State: AlertState.ReturnedUnacknowledged } => Said.Of("alert.state.returned"),
        { State: AlertState.Shelved, ShelvedUntil: { } until } => Said.Of("alert.state.shelved", ("at", Words.Local(until, zone))),
        { State: AlertState.Shelved } => Said.Of("alert.state.shelved.later"),
        { State: AlertState.OutOfService } => Said.Of("alert.state.out-of-service"),
        { State: AlertState.Suppressed } => Said.Of("alert.state.suppressed"),
        _ => Said.Of(Ending(alert)),
    };

    private static Said PersonOf(Alert alert) => alert.AcknowledgedBy is { } person ? Said.Name(person) : Words.Say("somebody");

    /// <summary>How an alert of the past ended: the key of its text.</summary>
    private static string Ending(Alert alert) => alert switch
    {
        { Correction: AlertCorrection.Withdrawn } => "alert.ending.withdrawn",
        { CauseFound: not null } => "alert.ending.closed",
        { Correction: AlertCorrection.Moved } => "alert.ending.moved",
        _ => "alert.ending.itself",
    };

    /// <summary>"likely (55 %)": the word for most, the figure for who weighs causes against each other.</summary>
    public static Phrase Sureness(double probability)
    {
        var key = probability switch
        {
            >= 0.95 => "alert.sure.certain",
            >= 0.75 => "alert.sure.most",
            >= 0.4 => "alert.sure.likely",
            >= 0.1 => "alert.sure.possible",
            _ => "alert.sure.not",
        };
        return Phrase.Of(key, ("percent", Math.Round(probability * 100)));
    }

    /// <summary>"leak: 80 L/h, between 60 and 100 nine times in ten".</summary>
    public static Phrase Size(Quantity size) => Phrase.Of(
        "mail.size", ("quantity", Terms.Quantity(size.Name)), ("value", size.Size.Value), ("unit", Terms.Unit(size.Unit)), ("low", size.Size.Low), ("high", size.Size.High));

    /// <summary>An event of an alert's life, without its note.</summary>
    public static ImmutableArray<Said> Event(AlertEvent happened, TimeZoneInfo zone) => happened switch
    {
        AlertRaised => Said.Of("alert.event.raised"),
        AlertReraised => Said.Of("alert.event.back"),
        AlertReturned => Said.Of("alert.event.ceased"),
        AlertCorrected { Correction: AlertCorrection.Withdrawn } => Said.Of("alert.event.withdrawn"),
        AlertCorrected => Said.Of("alert.event.moved"),
        AlertReworded => Said.Of("alert.event.reworded"),
        AlertAcknowledged e => Said.Of("alert.event.acknowledged", ("person", Said.Name(e.By))),
        AlertNoted e => Said.Of("alert.event.noted", ("person", Said.Name(e.By))),
        AlertShelved e => Said.Of("alert.event.shelved", ("person", Said.Name(e.By)), ("at", Words.Local(e.Until, zone))),
        AlertUnshelved { By: { } by } => Said.Of("alert.event.unshelved", ("person", Said.Name(by))),
        AlertUnshelved => Said.Of("alert.event.shelf-over"),
        AlertTakenOutOfService { By: null } => Said.Of("alert.event.out-already"),
        AlertTakenOutOfService e => Said.Of("alert.event.taken-out", ("person", Said.Name(e.By!))),
        AlertReturnedToService e => Said.Of("alert.event.returned", ("person", Said.Name(e.By))),
        AlertClosed e => Said.Of("alert.event.closed", ("person", Said.Name(e.By))),
        AlertSuppressed => Said.Of("alert.event.explained"),
        AlertCauseEnded => Said.Of("alert.event.cause-over"),
        AlertReleased => Said.Of("alert.event.outlasted"),
        AlertTimerMoved => Said.Of("alert.event.clock"),
        AlertNotified e => Said.Of(Notice(e.Reason)),
        _ => Said.Of("alert.event.unknown"),
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

    /// <summary>What a letter was to say.</summary>
    public static Phrase Why(NotifyReason reason) => Phrase.Of(reason switch
    {
        NotifyReason.Cleared => "alert.why.cleared",
        NotifyReason.Reopened => "alert.why.reopened",
        NotifyReason.Escalated => "alert.why.escalated",
        NotifyReason.Graver => "alert.why.graver",
        NotifyReason.StillHolds => "alert.why.still-holds",
        _ => "alert.why.began",
    });

    private static string Notice(NotifyReason reason) => reason switch
    {
        NotifyReason.Cleared => "alert.notice.cleared",
        NotifyReason.Reopened => "alert.notice.reopened",
        NotifyReason.Escalated => "alert.notice.escalated",
        NotifyReason.Graver => "alert.notice.graver",
        NotifyReason.StillHolds => "alert.notice.still-holds",
        _ => "alert.notice.began",
    };
}
