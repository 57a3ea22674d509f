using System.Globalization;
using TankWatch.Service.Commands;
using TankWatch.Service.Configuration;
using TankWatch.Service.Operation;

namespace TankWatch.Service.Demo;

/// <param name="Port">Of the pages and the API; 0 is any free one.</param>
/// <param name="MqttPort">Of the embedded broker.</param>
/// <param name="Data">Null for a temporary folder.</param>
/// <param name="Speed">Of its clock, from <see cref="DemoClock.Slowest"/> to <see cref="DemoClock.Fastest"/>.</param>
internal sealed record DemoOptions(int Port, int MqttPort, string? Data, double Speed = DemoClock.Slowest);

/// <summary>The whole service on one machine, with simulated buildings in place of real ones.</summary>
internal static class DemoRun
{
    public static async Task<int> RunAsync(DemoOptions options, Terminal terminal, CancellationToken stop)
    {
        using var folder = DemoFolder.Open(options.Data, out var fault);
        if (folder is null)
        {
            return terminal.Refuse(fault!);
        }

        var clock = new DemoClock(TimeProvider.System, options.Speed);
        await using var app = ServeHost.Build(
            new ServiceShape(SettingsFor(options, folder.Path), new ConfigurationBuilder().AddInMemoryCollection().Build(), Demo: true, clock));
        if (await Hosting.StartAsync(app, stop) is { } hindrance)
        {
            return terminal.Fail(hindrance);
        }

        await terminal.Out.WriteLineAsync("This demonstration is bound to 127.0.0.1: only this machine reaches it. It asks for no login.");
        await terminal.Out.WriteLineAsync(folder.IsTemporary
            ? $"Its data are in {folder.Path} and are deleted at the end."
            : $"Its data are in {folder.Path} and stay there until the next demonstration in this folder.");
        await terminal.Out.WriteLineAsync(PaceLine(options.Speed));
        using var ending = CancellationTokenSource.CreateLinkedTokenSource(stop, app.Lifetime.ApplicationStopping);
        try
        {
            await LiveAsync(app, clock, options.MqttPort, terminal, ending.Token);
        }
        catch (OperationCanceledException) when (ending.IsCancellationRequested)
        {
            // The ordinary end.
        }

        await app.StopAsync(CancellationToken.None);
        return ExitCode.Success;
    }

    private static async Task LiveAsync(WebApplication app, DemoClock clock, int mqttPort, Terminal terminal, CancellationToken stop)
    {
        var estate = ActivatorUtilities.CreateInstance<DemoEstate>(app.Services);
        await estate.SettleInAsync(stop);
        await terminal.WithProgressAsync("Simulating the past month", async progress =>
        {
            await estate.LiveThroughHistoryAsync(progress, stop);
            return true;
        });
        await estate.TakeInHandAsync(stop);
        await estate.PromiseAsync(stop);
        clock.Begin(DemoFeed.Ahead);
        await Hosting.SayReadyAsync(app, terminal, stop);
        await ActivatorUtilities.CreateInstance<DemoFeed>(app.Services, estate).RunAsync(mqttPort, stop);
    }

    private static string PaceLine(double speed) => "Its buildings and its time are simulated; " + (speed > DemoClock.Slowest
        ? string.Create(CultureInfo.InvariantCulture, $"the clock starts at the present and runs {speed} times as fast as yours.")
        : "the clock runs as fast as yours, and with --speed 60 an hour passes in a minute.");

    private static Settings SettingsFor(DemoOptions options, string folder)
    {
        var settings = new Settings();
        settings.Data.Path = folder;
        settings.Http.Urls = $"http://127.0.0.1:{options.Port}";
        settings.Mqtt.ListenPort = options.MqttPort;
        return settings;
    }
}
