using System.ComponentModel;
using System.Text.Json;
using System.Text.Json.Serialization;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Texts;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Api.Contract;

[Description("What was measured, with bounds that hold the truth nine times in ten.")]
public sealed record FindingEstimateJson(string Quantity, double Value, double Low, double High, string Unit);

[Description("One explanation and how likely it is, 0 to 1.")]
public sealed record CauseJson(string Cause, double Probability);

[Description("A finding with a life: what people see of it.")]
public record AlertJson(
    [property: Description("Ascending by creation.")] string Id,
    [property: Description("Null for what is of no one site: the outage of an area, a fault of this service.")] string? Site,
    [property: Description("What is wrong; a stored name that never changes.")] string Kind,
    [property: Description("The tank, pump or unit.")] string Device,
    [property: Description("low, medium, high or critical.")] string Priority,
    [property: Description("Estimated onset.")] DateTimeOffset Since,
    [property: Description("When it was decided, in the time of the messages.")] DateTimeOffset RaisedAt,
    [property: Description("When it ceased; null while it holds.")] DateTimeOffset? ClearedAt,
    FindingEstimateJson? Estimate,
    IReadOnlyList<CauseJson> Causes,
    [property: Description("One sentence for a caretaker.")] string Summary,
    IReadOnlyList<string> Evidence,
    IReadOnlyList<string> Advice,
    IReadOnlyList<string> Cautions,
    [property: Description("unacknowledged, acknowledged, returned-unacknowledged, normal, shelved, suppressed or out-of-service.")] string State,
    [property: Description("When people were first told.")] DateTimeOffset? NotifiedAt,
    DateTimeOffset? AcknowledgedAt,
    string? AcknowledgedBy,
    [property: Description("What late messages changed: moved, withdrawn, or null.")] string? Correction,
    DateTimeOffset? ShelvedUntil,
    [property: Description("As found on site, at closing.")] string? CauseFound,
    [property: Description("The alert that explains it, or last did; while it is suppressed it hangs under that one.")] string? CausedBy,
    [property: Description("When the next people hear of it unless somebody acknowledges.")] DateTimeOffset? EscalatesAt,
    [property: Description("How often the condition came back while this alert was open.")] int Returns)
{
    public static AlertJson Of(Alert alert)
    {
        var f = alert.Finding;
        var text = f.Text.In(Languages.English);
        return new(
            alert.Id, alert.Site.IsNone ? null : alert.Site.Value, FindingNames.Of(f.Kind), f.Device.Value, FindingNames.Of(f.Priority), f.Since, f.RaisedAt, f.ClearedAt,
            f.Estimate is { } e ? new(e.Name, Math.Round(e.Size.Value, 1), Math.Round(e.Size.Low, 1), Math.Round(e.Size.High, 1), e.Unit) : null,
            [.. f.Causes.Select(c => new CauseJson(c.Name, Math.Round(c.Probability, 3)))],
            text.Summary, text.Evidence, text.Advice, text.Cautions,
            AlertNames.Of(alert.State), alert.NotifiedAt, alert.AcknowledgedAt, alert.AcknowledgedBy,
            alert.Correction is { } correction ? AlertNames.Of(correction) : null, alert.ShelvedUntil, alert.CauseFound, alert.CausedBy,
            alert is { State: AlertState.Unacknowledged, OwesEnding: true } ? alert.TimerAt : null, alert.Returns);
    }
}

[Description("One change in an alert's life.")]
public sealed record AlertEventJson(
    DateTimeOffset At,
    [property: Description("Such as raised, acknowledged, noted, returned.")] string Type,
    [property: Description("Who; null where nobody did it.")] string? By,
    [property: Description("The note, the reason or the cause that was given.")] string? Note,
    [property: Description("Of a closing: what was found on site.")] string? CauseFound)
{
    /// <summary>An event's words, from its stored form: whichever of the three members it has.</summary>
    public static AlertEventJson Of(StoredAlertEvent happened)
    {
        using var stored = JsonDocument.Parse(happened.Json);
        var root = stored.RootElement;
        return new(happened.At, happened.Type, Text(root, "by"), Text(root, "note") ?? Text(root, "reason") ?? Text(root, "causeFound"), Text(root, "causeFound"));
    }

    private static string? Text(JsonElement root, string member) =>
        root.TryGetProperty(member, out var value) && value.ValueKind == JsonValueKind.String ? value.GetString() : null;
}

/// <summary>The data of one event of <c>/alerts/stream</c>.</summary>
/// <param name="Event">What happened.</param>
/// <param name="Alert">As it is now.</param>
public sealed record AlertHappenedJson(AlertEventJson Event, AlertJson Alert);

[JsonUnmappedMemberHandling(JsonUnmappedMemberHandling.Disallow)]
public sealed record OptionalNoteJson([property: Description("At most 2000 characters.")] string? Note = null);

[JsonUnmappedMemberHandling(JsonUnmappedMemberHandling.Disallow)]
public sealed record NoteJson([property: Description("At most 2000 characters.")] string Note);

[JsonUnmappedMemberHandling(JsonUnmappedMemberHandling.Disallow)]
public sealed record ShelveJson(
    [property: Description("Shelving always ends; a time to come.")] DateTimeOffset Until,
    [property: Description("At most 2000 characters.")] string Reason);

[JsonUnmappedMemberHandling(JsonUnmappedMemberHandling.Disallow)]
public sealed record CloseJson(
    [property: Description("What was found on site: a kind of finding, a weighed cause or 'nothing-wrong' counts in /alerts/record, any other text is kept as written; at most 2000 characters.")] string CauseFound,
    [property: Description("At most 2000 characters.")] string? Note = null);
