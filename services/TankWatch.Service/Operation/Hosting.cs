using System.Net.Sockets;
using Microsoft.AspNetCore.Connections;
using Microsoft.AspNetCore.Hosting.Server;
using Microsoft.AspNetCore.Hosting.Server.Features;
using Microsoft.AspNetCore.Http.Features;
using TankWatch.Service.Commands;
using TankWatch.Service.Configuration;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Operation;

/// <summary>Runs a built service until it is told to stop.</summary>
internal static class Hosting
{
    /// <summary>SIGTERM drains within this; what holds longer is cut off.</summary>
    public static readonly TimeSpan DrainWithin = TimeSpan.FromSeconds(25);

    /// <summary>Starts, says <c>ready: URL</c> on standard output once the first page can be opened, and waits for the end.</summary>
    /// <param name="build">Builds the service; may find the store unusable.</param>
    /// <param name="terminal">For the ready line and for what hinders the start.</param>
    /// <param name="stop">Stops the service as SIGTERM does.</param>
    public static async Task<int> RunAsync(Func<WebApplication> build, Terminal terminal, CancellationToken stop)
    {
        await using var app = build();
        if (await StartAsync(app, stop) is { } hindrance)
        {
            return terminal.Fail(hindrance);
        }

        await SayReadyAsync(app, terminal, stop);
        await app.WaitForShutdownAsync(stop);
        return ExitCode.Success;
    }

    /// <returns>What hinders the start, in one line; null when it runs.</returns>
    public static async Task<string?> StartAsync(WebApplication app, CancellationToken stop)
    {
        try
        {
            await app.StartAsync(stop);
            return null;
        }
        catch (Exception e) when (e is IOException or SocketException or InvalidOperationException or AddressInUseException or StoreException)
        {
            return Hindrance(e, app.Services.GetRequiredService<MqttOptions>());
        }
    }

    public static async Task SayReadyAsync(WebApplication app, Terminal terminal, CancellationToken stop)
    {
        try
        {
            // Before that, the first page would say that there are no buildings.
            await app.Services.GetRequiredService<SiteKeeper>().Read.WaitAsync(stop);
        }
        catch (OperationCanceledException)
        {
            return; // Stopped before it was ready.
        }

        await terminal.Out.WriteLineAsync($"ready: {Address(app)}");
        await terminal.Out.FlushAsync(stop);
    }

    /// <summary>The first address that is really listened on; port 0 has become a number by then.</summary>
    public static string Address(WebApplication app) =>
        app.Services.GetRequiredService<IServer>().Features.GetRequiredFeature<IServerAddressesFeature>().Addresses.First();

    private static string Hindrance(Exception e, MqttOptions mqtt) => e switch
    {
        IOException { InnerException: AddressInUseException } => e.Message, // Kestrel's own line names the address.
        SocketException { SocketErrorCode: SocketError.AddressAlreadyInUse } =>
            $"The embedded broker cannot listen on {mqtt.ListenAddress}:{mqtt.ListenPort}: another program does.",
        SocketException { SocketErrorCode: SocketError.AccessDenied or SocketError.AddressNotAvailable } refused =>
            $"The embedded broker cannot listen on {mqtt.ListenAddress}:{mqtt.ListenPort}: {refused.Message}.",
        _ => "The service cannot start: " + e.Message.Split('\n')[0],
    };
}
