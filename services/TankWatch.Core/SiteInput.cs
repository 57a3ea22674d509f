using TankWatch.Core.Observations;

namespace TankWatch.Core;

/// <summary>What moves a site's judgement on.</summary>
/// <param name="At">Event time, UTC.</param>
public abstract record SiteInput(DateTimeOffset At);

/// <summary>The next observation in order. Whole minutes before it are ticked by themselves.</summary>
public sealed record Observed(Observation Observation) : SiteInput(Observation.Stamp.At);

/// <summary>Nothing more is expected before this time: whole minutes up to it are ticked.</summary>
public sealed record Ticked(DateTimeOffset At) : SiteInput(At);

/// <summary>What a person asks of an alert.</summary>
/// <param name="AlertId">The alert.</param>
/// <param name="By">The user's or key's name.</param>
public abstract record AlertCommand(string AlertId, string By);

public sealed record Acknowledge(string AlertId, string By, string? Note) : AlertCommand(AlertId, By);
public sealed record Shelve(string AlertId, string By, DateTimeOffset Until, string Reason) : AlertCommand(AlertId, By);
public sealed record Unshelve(string AlertId, string By) : AlertCommand(AlertId, By);
public sealed record TakeOutOfService(string AlertId, string By, string? Note) : AlertCommand(AlertId, By);
public sealed record ReturnToService(string AlertId, string By) : AlertCommand(AlertId, By);
/// <param name="AlertId">The alert.</param>
/// <param name="By">The user's or key's name.</param>
/// <param name="CauseFound">A name of <see cref="Findings.FoundCauses"/>, which counts in the record, or free text.</param>
/// <param name="Note">What else there is to say; null for nothing.</param>
public sealed record Close(string AlertId, string By, string CauseFound, string? Note = null) : AlertCommand(AlertId, By);
public sealed record AddNote(string AlertId, string By, string Note) : AlertCommand(AlertId, By);
