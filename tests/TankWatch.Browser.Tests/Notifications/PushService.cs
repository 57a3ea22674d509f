using System.Collections.Concurrent;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Hosting;
using Microsoft.AspNetCore.Hosting.Server;
using Microsoft.AspNetCore.Hosting.Server.Features;
using Microsoft.AspNetCore.Http;
using Microsoft.AspNetCore.Http.Features;
using Microsoft.Extensions.DependencyInjection;
using TankWatch.Browser.Tests.Services;

namespace TankWatch.Browser.Tests.Notifications;

/// <summary>A push service (RFC 8030) of this machine, that knows one browser and can open what is sealed for it.</summary>
internal sealed class PushService : IAsyncDisposable
{
    private readonly WebApplication app;
    private readonly ConcurrentQueue<byte[]> messages = new();

    private PushService(WebApplication app) => this.app = app;

    public TankWatch.Service.Tests.Push.Browser Browser { get; } = new();

    public string Endpoint { get; private set; } = "";

    public static async Task<PushService> StartAsync()
    {
        var builder = WebApplication.CreateEmptyBuilder(new());
        builder.WebHost.UseKestrelCore().UseUrls("http://127.0.0.1:0");
        var service = new PushService(builder.Build());
        service.app.Run(async context =>
        {
            using var body = new MemoryStream();
            await context.Request.Body.CopyToAsync(body);
            service.messages.Enqueue(body.ToArray());
            context.Response.StatusCode = StatusCodes.Status201Created;
        });
        await service.app.StartAsync();
        service.Endpoint = service.app.Services.GetRequiredService<IServer>().Features.GetRequiredFeature<IServerAddressesFeature>().Addresses.First() + "/push/1";
        return service;
    }

    /// <summary>The oldest message that was not taken yet, as the browser opens it.</summary>
    public async Task<string> TakeAsync(TimeSpan? within = null)
    {
        await Eventually.Comes(() => Task.FromResult(messages.Count), count => count > 0, "a message at the push service", within);
        return messages.TryDequeue(out var message) ? Browser.Open(message) : throw new InvalidOperationException("Somebody else took it.");
    }

    public async ValueTask DisposeAsync()
    {
        Browser.Dispose();
        await app.DisposeAsync();
    }
}
