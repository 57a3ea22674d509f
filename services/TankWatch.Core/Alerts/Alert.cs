using System.Collections.Immutable;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;

namespace TankWatch.Core.Alerts;

/// <summary>
/// States of an alarm after ISA-18.2 / IEC 62682. <see cref="Suppressed"/>: by design, it hangs under the alert that explains it.
/// Published names: <see cref="AlertNames"/>.
/// </summary>
public enum AlertState { Unacknowledged, Acknowledged, ReturnedUnacknowledged, Normal, Shelved, Suppressed, OutOfService }

/// <summary>What late data changed in what had already been told.</summary>
public enum AlertCorrection { Moved, Withdrawn }

/// <summary>A finding with a life: what people see of it. At most one open alert per site, device and kind.</summary>
/// <param name="Id">Ascending by creation; never changes, whatever late data do to the finding.</param>
/// <param name="Site">The site.</param>
/// <param name="Finding">As it is known now.</param>
/// <param name="State">See <see cref="AlertState"/>.</param>
/// <param name="CreatedAt">When it was first told to this service's users, wall clock.</param>
/// <param name="NotifiedAt">When it was first made known to people; null for what a backlog revealed and had already cleared.</param>
/// <param name="AcknowledgedAt">Null until acknowledged; reset when the condition comes back.</param>
/// <param name="AcknowledgedBy">The user's or key's name.</param>
/// <param name="Correction">What late data changed, if anything.</param>
/// <param name="ShelvedUntil">While shelved.</param>
/// <param name="FirstRaisedAt">When the first of its episodes was raised, in event time; <paramref name="Finding"/> is the newest one.</param>
/// <param name="Notices">What people were told, oldest first; of very many the first one and the newest.</param>
/// <param name="CauseFound">As found on site, at closing.</param>
/// <param name="Events">How many events made this alert: the next event's number.</param>
public sealed record Alert(
    string Id,
    SiteId Site,
    Finding Finding,
    AlertState State,
    DateTimeOffset CreatedAt,
    DateTimeOffset? NotifiedAt,
    DateTimeOffset? AcknowledgedAt,
    string? AcknowledgedBy,
    AlertCorrection? Correction,
    DateTimeOffset? ShelvedUntil,
    DateTimeOffset FirstRaisedAt,
    ImmutableArray<Notice> Notices,
    string? CauseFound,
    int Events)
{
    /// <summary>The highest step of the roster that was told since it last opened; 0 is the first.</summary>
    public int Step { get; init; }

    /// <summary>
    /// When something happens by itself, wall clock, UTC. Not told yet: it has waited long enough for its cause. Told and unacknowledged:
    /// the next step hears. Suppressed: its cause has been over for long enough. Follows the clock when that is set.
    /// </summary>
    public DateTimeOffset? TimerAt { get; init; }

    /// <summary>The id of the alert that explains it, or last did.</summary>
    public string? CausedBy { get; init; }

    /// <summary>How often the condition came back while this alert was open.</summary>
    public int Returns { get; init; }

    /// <summary>The gravest that people were told of it, its consequences included; null until one of these was graver than itself.</summary>
    public Priority? GravestTold { get; init; }

    /// <summary>It came back into view, and people were not told yet that it still holds.</summary>
    public bool IsResumed { get; init; }

    /// <summary>How grave people know it to be.</summary>
    public Priority Gravity => GravestTold > Finding.Priority ? GravestTold.Value : Finding.Priority;

    public bool IsOpen => State != AlertState.Normal;

    /// <summary>The last notice said that the condition holds, and none has said yet that it ended.</summary>
    public bool OwesEnding => Notices is [.., { Reason: not NotifyReason.Cleared }];
}

/// <summary>That people were told.</summary>
/// <param name="Number">Number of the event, unique within the alert.</param>
/// <param name="Reason">Why.</param>
/// <param name="At">Wall clock, UTC.</param>
public sealed record Notice(int Number, NotifyReason Reason, DateTimeOffset At);

public static class AlertNames
{
    public static string Of(AlertState state) => state switch
    {
        AlertState.Unacknowledged => "unacknowledged",
        AlertState.Acknowledged => "acknowledged",
        AlertState.ReturnedUnacknowledged => "returned-unacknowledged",
        AlertState.Normal => "normal",
        AlertState.Shelved => "shelved",
        AlertState.Suppressed => "suppressed",
        AlertState.OutOfService => "out-of-service",
        _ => throw new ArgumentOutOfRangeException(nameof(state)),
    };

    public static AlertState? FindState(string name) =>
        Enum.GetValues<AlertState>().Cast<AlertState?>().FirstOrDefault(state => Of(state!.Value) == name);

    public static string Of(AlertCorrection correction) => correction == AlertCorrection.Moved ? "moved" : "withdrawn";
}
