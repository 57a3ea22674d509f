using System.Text;
using Microsoft.AspNetCore.Http.Features;
using Microsoft.Data.Sqlite;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Api;

/// <summary>What a stream of server-sent events says. Each text is whole blocks of lines, each block ended by an empty line.</summary>
internal interface IEventSource : IDisposable
{
    /// <summary>Said once, at the beginning.</summary>
    string Opening { get; }

    TimeSpan BeatEvery { get; }

    /// <summary>At least so long from one part to the next.</summary>
    TimeSpan Pause { get; }

    /// <summary>Completes when there may be a next part; taken before asking for one.</summary>
    Task News { get; }

    /// <summary>The next part, of bounded length; null when all was said.</summary>
    string? Take();

    string Beat();
}

/// <summary>An answer that goes on until the client, its key or the service ends.</summary>
internal sealed class EventStreamResult(IEventSource source) : IResult
{
    public async Task ExecuteAsync(HttpContext httpContext)
    {
        using (source)
        {
            await httpContext.RequestServices.GetRequiredService<EventStreams>().RunAsync(httpContext, source);
        }
    }
}

/// <summary>Writes server-sent events (HTML standard, section 9.2) as they happen.</summary>
/// <remarks>
/// The framework's own result writes neither comments nor an id without data, which resuming needs from the first moment on. Nothing
/// is queued for a client: it is asked of the source when the client has taken what came before, so a slow one costs no memory.
/// </remarks>
internal sealed partial class EventStreams(
    CallerFinder callers, IHostApplicationLifetime lifetime, [FromKeyedServices(EventStreams.Pace)] TimeProvider time, ILogger<EventStreams> logger)
{
    public const string MediaType = "text/event-stream";

    /// <summary>Name of the clock that beats and pauses go by.</summary>
    public const string Pace = "pace";

    public async Task RunAsync(HttpContext context, IEventSource source)
    {
        using var ending = CancellationTokenSource.CreateLinkedTokenSource(context.RequestAborted, lifetime.ApplicationStopping);
        try
        {
            await FollowAsync(context, source, ending.Token);
        }
        catch (OperationCanceledException) when (ending.IsCancellationRequested)
        {
            // The client is gone, or the service goes down: the client comes again and resumes.
        }
        catch (Exception fault) when (fault is SqliteException or StoreException)
        {
            LogBroken(Database.OneLine(fault));
        }
    }

    private async Task FollowAsync(HttpContext context, IEventSource source, CancellationToken stop)
    {
        Begin(context);

        // Times run from before what was written, so that what a client has seen cannot be ahead of them.
        using var beats = new PeriodicTimer(source.BeatEvery, time);
        var beat = beats.WaitForNextTickAsync(stop).AsTask();
        await WriteAsync(context, source.Opening, stop);
        while (true)
        {
            stop.ThrowIfCancellationRequested();
            var news = source.News;
            if (beat.IsCompleted)
            {
                if (callers.Find(context) != Caller.Of(context))
                {
                    return; // The key was revoked, or its session is over.
                }

                beat = beats.WaitForNextTickAsync(stop).AsTask();
                await WriteAsync(context, source.Beat(), stop);
            }

            if (source.Take() is { } part)
            {
                var pause = Task.Delay(source.Pause, time, stop);
                await WriteAsync(context, part, stop);
                await pause;
            }
            else
            {
                await Task.WhenAny(news, beat);
            }
        }
    }

    private static void Begin(HttpContext context)
    {
        // Each event leaves when it is written: nothing on the way may collect, change or keep them.
        context.Features.Get<IHttpResponseBodyFeature>()?.DisableBuffering();
        var headers = context.Response.Headers;
        headers.ContentType = MediaType;
        headers.CacheControl = "no-store, no-transform";
        headers["X-Accel-Buffering"] = "no";
    }

    /// <summary>Waits while the client does not read, at most until the end.</summary>
    private static async Task WriteAsync(HttpContext context, string text, CancellationToken stop) =>
        await context.Response.BodyWriter.WriteAsync(Encoding.UTF8.GetBytes(text), stop);

    [LoggerMessage(Level = LogLevel.Warning, Message = "an event stream ended, because the store cannot be read: {Reason}")]
    private partial void LogBroken(string reason);
}
