using System.Collections.Concurrent;
using System.Text;
using System.Text.Json;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Hosting;
using Microsoft.AspNetCore.Hosting.Server;
using Microsoft.AspNetCore.Hosting.Server.Features;
using Microsoft.AspNetCore.Http;
using Microsoft.AspNetCore.Http.Features;
using Microsoft.Extensions.DependencyInjection;
using StandardWebhooks;

namespace TankWatch.Service.Tests.Webhooks;

/// <summary>A real HTTP server that remembers what it was sent.</summary>
internal sealed class Target : IAsyncDisposable
{
    private readonly WebApplication app;
    private readonly CancellationTokenSource end = new();

    private Target(WebApplication app) => this.app = app;

    /// <summary>In the order in which they came.</summary>
    public ConcurrentQueue<TargetRequest> Requests { get; } = [];

    public string Url { get; private set; } = "";

    /// <summary>How it answers; may be changed while it runs.</summary>
    public Func<HttpContext, Task> Answer { get; set; } = _ => Task.CompletedTask;

    /// <summary>Ends the waiting of what hangs.</summary>
    public CancellationToken Ending => end.Token;

    public static Task<Target> StartAsync(Action<HttpContext> answer) => StartAsync(context =>
    {
        answer(context);
        return Task.CompletedTask;
    });

    public static async Task<Target> StartAsync(Func<HttpContext, Task>? answer = null)
    {
        var builder = WebApplication.CreateEmptyBuilder(new());
        builder.WebHost.UseKestrelCore().UseUrls("http://127.0.0.1:0");
        var target = new Target(builder.Build());
        target.Answer = answer ?? target.Answer;
        target.app.Run(async context =>
        {
            var at = System.Diagnostics.Stopwatch.GetTimestamp();
            using var body = new MemoryStream();
            await context.Request.Body.CopyToAsync(body, target.Ending);
            target.Requests.Enqueue(new(new HeaderDictionary(context.Request.Headers.ToDictionary()), body.ToArray(), at));
            await target.Answer(context);
        });
        await target.app.StartAsync(CancellationToken.None);
        target.Url = target.app.Services.GetRequiredService<IServer>().Features.GetRequiredFeature<IServerAddressesFeature>().Addresses.First() + "/hook";
        return target;
    }

    /// <summary>Answers with a status and no more.</summary>
    public static Action<HttpContext> Says(int status) => context => context.Response.StatusCode = status;

    /// <summary>Never answers, until the caller or the test gives up.</summary>
    public void Hang() => Answer = async context =>
    {
        using var either = CancellationTokenSource.CreateLinkedTokenSource(context.RequestAborted, Ending);
        await Task.WhenAny(Task.Delay(Timeout.InfiniteTimeSpan, either.Token));
    };

    public async ValueTask DisposeAsync()
    {
        await end.CancelAsync();
        await app.DisposeAsync();
        end.Dispose();
    }
}

/// <summary>What a target was sent, and at which timestamp of <see cref="System.Diagnostics.Stopwatch"/> it came.</summary>
internal sealed record TargetRequest(IHeaderDictionary Headers, byte[] Bytes, long At)
{
    public string Body => Encoding.UTF8.GetString(Bytes);

    public string Id => Headers["webhook-id"].ToString();

    public JsonElement Json => JsonSerializer.Deserialize<JsonElement>(Body);

    public string Type => Json.GetProperty("type").GetString()!;

    /// <summary>Throws unless it is signed with the secret, as the library sees it by the clock of the machine.</summary>
    public void Verify(string secret) => new StandardWebhook(secret).Verify(Body, Headers);
}
