using System.Text.Json;
using Microsoft.AspNetCore.Http.HttpResults;
using TankWatch.Core.Time;
using TankWatch.Service.Api;
using TankWatch.Service.Sites;

namespace TankWatch.Service.Pages;

/// <summary><c>/live</c>: tells an open page which sites to look at again. A page that has just connected looks once at all it shows.</summary>
internal static class LiveStream
{
    public static void MapLive(this RouteGroupBuilder pages) => pages.MapGet("/live", Open);

    private static Results<EventStreamResult, ProblemHttpResult> Open(string? site, Caller? caller, SiteDirectory directory, TimeProvider time)
    {
        if (caller is null)
        {
            return TypedResults.Problem("Sign in first.", statusCode: StatusCodes.Status401Unauthorized);
        }

        if (site is not null && (!SiteRoutes.Visible(site, caller) || directory.Find(new(site)) is null))
        {
            return SiteRoutes.NoSite();
        }

        return new EventStreamResult(new Source(directory.Watch(id => caller.Sees(id) && (site is null || id.Value == site)), time));
    }

    private sealed class Source(SiteWatch watch, TimeProvider time) : IEventSource
    {
        public string Opening => "retry: 2000\n" + Beat();

        public TimeSpan BeatEvery => TimeSpan.FromSeconds(10);

        /// <summary>What changes meanwhile is told together.</summary>
        public TimeSpan Pause => TimeSpan.FromMilliseconds(100);

        public Task News => watch.Any;

        public string? Take() => watch.Take() is { Count: > 0 } sites
            ? $"event: changed\ndata: {JsonSerializer.Serialize(sites.Select(site => site.Value))}\n\n"
            : null;

        public string Beat() => $"event: beat\ndata: {Rfc3339.Format(time.GetUtcNow())}\n\n";

        public void Dispose() => watch.Dispose();
    }
}
