using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;

namespace TankWatch.Core.Alerts;

/// <summary>One change in an alert's life. Events are only ever appended; an alert is the fold of its events.</summary>
/// <param name="AlertId">The alert.</param>
/// <param name="At">Wall clock, UTC.</param>
public abstract record AlertEvent(string AlertId, DateTimeOffset At);

/// <param name="AlertId">The alert.</param>
/// <param name="At">Wall clock, UTC.</param>
/// <param name="Site">Where.</param>
/// <param name="Finding">What.</param>
/// <param name="TellAt">Before this nobody is told: its cause may be about to be found. Null to tell at once.</param>
public sealed record AlertRaised(string AlertId, DateTimeOffset At, SiteId Site, Finding Finding, DateTimeOffset? TellAt = null) : AlertEvent(AlertId, At);

/// <summary>The condition came back while the alert was still open.</summary>
public sealed record AlertReraised(string AlertId, DateTimeOffset At, Finding Finding) : AlertEvent(AlertId, At);

/// <summary>The condition ceased.</summary>
public sealed record AlertReturned(string AlertId, DateTimeOffset At, Finding Finding) : AlertEvent(AlertId, At);

/// <summary>Late data moved the finding's times or showed that it never was.</summary>
public sealed record AlertCorrected(string AlertId, DateTimeOffset At, Finding Finding, AlertCorrection Correction) : AlertEvent(AlertId, At);

/// <summary>Late data left the finding's times as they were and changed what it says: its evidence, its causes or its size.</summary>
public sealed record AlertReworded(string AlertId, DateTimeOffset At, Finding Finding) : AlertEvent(AlertId, At);

public sealed record AlertAcknowledged(string AlertId, DateTimeOffset At, string By, string? Note) : AlertEvent(AlertId, At);

public sealed record AlertNoted(string AlertId, DateTimeOffset At, string By, string Note) : AlertEvent(AlertId, At);

public sealed record AlertShelved(string AlertId, DateTimeOffset At, string By, DateTimeOffset Until, string Reason) : AlertEvent(AlertId, At);

/// <param name="AlertId">The alert.</param>
/// <param name="At">Wall clock, UTC.</param>
/// <param name="By">Who; null when the shelf's time ran out.</param>
public sealed record AlertUnshelved(string AlertId, DateTimeOffset At, string? By) : AlertEvent(AlertId, At);

/// <param name="AlertId">The alert.</param>
/// <param name="At">Wall clock, UTC.</param>
/// <param name="By">Who; null for an alert that came while its device was out of service already.</param>
/// <param name="Note">What they wrote.</param>
public sealed record AlertTakenOutOfService(string AlertId, DateTimeOffset At, string? By, string? Note) : AlertEvent(AlertId, At);

public sealed record AlertReturnedToService(string AlertId, DateTimeOffset At, string By) : AlertEvent(AlertId, At);

public sealed record AlertClosed(string AlertId, DateTimeOffset At, string By, string CauseFound, string? Note = null) : AlertEvent(AlertId, At);

/// <summary>Another alert explains it: it hangs under that one and is not told by itself.</summary>
public sealed record AlertSuppressed(string AlertId, DateTimeOffset At, string Cause) : AlertEvent(AlertId, At);

/// <summary>What explained it is over; it comes into view if it still holds then.</summary>
public sealed record AlertCauseEnded(string AlertId, DateTimeOffset At, DateTimeOffset ReleaseAt) : AlertEvent(AlertId, At);

/// <summary>It outlasted what explained it.</summary>
public sealed record AlertReleased(string AlertId, DateTimeOffset At) : AlertEvent(AlertId, At);

/// <summary>The wall clock was set; what was to happen by itself still happens after the same time.</summary>
public sealed record AlertTimerMoved(string AlertId, DateTimeOffset At, DateTimeOffset TimerAt) : AlertEvent(AlertId, At);

/// <summary>A notice was intended; the outbox holds it from the same transaction on.</summary>
/// <param name="AlertId">The alert.</param>
/// <param name="At">Wall clock, UTC.</param>
/// <param name="Reason">Why.</param>
/// <param name="Step">The highest step of the roster that is told; 0 the first.</param>
/// <param name="NextAt">When the next step hears if nobody acknowledges; null: none does.</param>
/// <param name="Gravest">How grave it was told to be, when a consequence is graver than itself.</param>
public sealed record AlertNotified(
    string AlertId, DateTimeOffset At, NotifyReason Reason, int Step = 0, DateTimeOffset? NextAt = null, Priority? Gravest = null) : AlertEvent(AlertId, At);
