using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;

namespace TankWatch.Core.Alerts;

/// <summary>One change in an alert's life. Events are only ever appended; an alert is the fold of its events.</summary>
/// <param name="AlertId">The alert.</param>
/// <param name="At">Wall clock, UTC.</param>
public abstract record AlertEvent(string AlertId, DateTimeOffset At);

public sealed record AlertRaised(string AlertId, DateTimeOffset At, SiteId Site, Finding Finding) : AlertEvent(AlertId, At);

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

public sealed record AlertTakenOutOfService(string AlertId, DateTimeOffset At, string By, string? Note) : AlertEvent(AlertId, At);

public sealed record AlertReturnedToService(string AlertId, DateTimeOffset At, string By) : AlertEvent(AlertId, At);

public sealed record AlertClosed(string AlertId, DateTimeOffset At, string By, string CauseFound) : AlertEvent(AlertId, At);

/// <summary>A notice was intended; the outbox holds it from the same transaction on.</summary>
public sealed record AlertNotified(string AlertId, DateTimeOffset At, NotifyReason Reason) : AlertEvent(AlertId, At);
