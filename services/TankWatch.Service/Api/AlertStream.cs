using System.ComponentModel;
using System.Globalization;
using System.Text.Json;
using Microsoft.AspNetCore.Http.HttpResults;
using Microsoft.AspNetCore.Mvc;
using Microsoft.Extensions.Options;
using TankWatch.Core;
using TankWatch.Core.Findings;
using TankWatch.Service.Api.Contract;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;
using JsonOptions = Microsoft.AspNetCore.Http.Json.JsonOptions;

namespace TankWatch.Service.Api;

/// <summary><c>/alerts/stream</c>: every event of every alert, as it happens, and from where a client was cut off.</summary>
internal static class AlertStream
{
    private const int PartSize = 50;

    public static void MapAlertStream(this RouteGroupBuilder alerts) => alerts.MapGet("/stream", Open)
        .WithName("streamAlerts").WithSummary("Events of alerts as they happen, as server-sent events.")
        .WithDescription(
            "Each event is named 'alert'; its id is a position that ascends over all alerts, and its data one line of JSON, "
            + "{\"event\": an AlertEvent, \"alert\": the Alert as it is now}. The stream begins with an id without data: the position from which it goes on. "
            + "A comment comes at least every 15 s while the key is in force.")
        .Produces<string>(StatusCodes.Status200OK, EventStreams.MediaType)
        .ProducesProblem(StatusCodes.Status404NotFound);

    private static Results<EventStreamResult, ProblemHttpResult> Open(
        Caller caller, LedgerStore ledger, AlertBell bell, IOptions<JsonOptions> json,
        [Description("Of this site alone.")] string? site,
        [Description("Of this kind alone.")] string? kind,
        [FromHeader(Name = "Last-Event-ID"), Description("The id received last: everything after it comes first. Without it, only what happens from now on; 0 is before all.")] string? lastEventId)
    {
        if (!AlertRoutes.TryKind(kind, out var wanted, out var problem)
            || !AlertRoutes.TrySite(site, caller, ledger, out var seen, out problem)
            || !TryPosition(lastEventId, out var after, out problem))
        {
            return problem!;
        }

        // A position ahead of the store is of another life of it, before it was restored from an older copy.
        var present = ledger.ReadAlertPosition();
        return new EventStreamResult(new Source(ledger, bell, seen, wanted, Math.Min(after ?? present, present), json.Value.SerializerOptions));
    }

    private static bool TryPosition(string? text, out long? position, out ProblemHttpResult? problem)
    {
        (position, problem) = (null, null);
        if (text is null)
        {
            return true;
        }

        if (long.TryParse(text, NumberStyles.None, CultureInfo.InvariantCulture, out var number))
        {
            position = number;
            return true;
        }

        problem = Problems.BadRequest("'Last-Event-ID' is the id of an event of this stream: a whole number.");
        return false;
    }

    private sealed class Source(
        LedgerStore ledger, AlertBell bell, SiteId? site, FindingKind? kind, long position, JsonSerializerOptions json) : IEventSource
    {
        public string Opening => $"retry: 3000\nid: {position}\n\n";

        public TimeSpan BeatEvery => TimeSpan.FromSeconds(15);

        public TimeSpan Pause => TimeSpan.Zero;

        public Task News => bell.Next;

        public string? Take()
        {
            var part = ledger.ReadAlertLog(site, kind, position, PartSize);
            position = part.Position;
            return part.Events.Count == 0 ? null : string.Concat(part.Events.Select(Block));
        }

        public string Beat() => ": the stream is alive\n\n";

        public void Dispose()
        {
            // The bell keeps no list of those who hear it.
        }

        private string Block(LoggedAlertEvent logged) =>
            $"id: {logged.Position}\nevent: alert\ndata: {JsonSerializer.Serialize(new AlertHappenedJson(AlertEventJson.Of(logged.Happened), AlertJson.Of(logged.Alert)), json)}\n\n";
    }
}
