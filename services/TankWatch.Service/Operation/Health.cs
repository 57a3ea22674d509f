using TankWatch.Service.Sites;

namespace TankWatch.Service.Operation;

/// <summary>Whether the process lives, and whether it can do its work; open to all, for those who start and watch it.</summary>
internal static class Health
{
    public static void MapHealth(this WebApplication app)
    {
        app.MapGet("/health/live", () => TypedResults.Ok(new LiveJson("live"))).WithHead().ExcludeFromDescription();
        app.MapGet("/health/ready", (ReadyState ready) => TypedResults.Json(
            new ReadyJson(ready.IsReady, [.. ready.Stages.Select(s => new StageJson(s.Name, s.Ok, s.Essential, s.Reason))]),
            statusCode: ready.IsReady ? StatusCodes.Status200OK : StatusCodes.Status503ServiceUnavailable)).WithHead().ExcludeFromDescription();
    }

    private sealed record LiveJson(string Status);

    /// <param name="Ready">Every essential stage works.</param>
    /// <param name="Stages">Which work, and why the others do not.</param>
    private sealed record ReadyJson(bool Ready, IReadOnlyList<StageJson> Stages);

    private sealed record StageJson(string Stage, bool Ok, bool Essential, string? Reason);
}
