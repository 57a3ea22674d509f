using System.Reflection;
using Microsoft.AspNetCore.DataProtection;
using Microsoft.AspNetCore.Hosting.Server;
using Microsoft.AspNetCore.Hosting.Server.Features;
using TankWatch.Service.Api;
using TankWatch.Service.Configuration;
using TankWatch.Service.Mail;
using TankWatch.Service.Pages;
using TankWatch.Service.Push;
using TankWatch.Service.Sites;
using TankWatch.Service.Visits;
using TankWatch.Service.Storage;
using TankWatch.Service.Webhooks;

namespace TankWatch.Service.Operation;

/// <summary>Composes the service: what it is made of, and in which order a request passes through.</summary>
public static class ServeHost
{
    /// <summary>A site file is the largest thing that anybody sends.</summary>
    private const long MaxBodyBytes = Core.Sites.SiteFile.MaxBytes;

    public static WebApplication Build(SettingsRead read) => Build(new ServiceShape(read.Settings, read.Source, Demo: false));

    /// <param name="shape">What to serve.</param>
    /// <param name="time">The clock of everything but the framework; null for the one of the shape.</param>
    public static WebApplication Build(ServiceShape shape, TimeProvider? time = null)
    {
        // The empty builder: nothing is read from anywhere but from what was checked.
        var builder = WebApplication.CreateEmptyBuilder(new()
        {
            ApplicationName = Assembly.GetExecutingAssembly().GetName().Name,
            EnvironmentName = Environments.Production,
        });
        builder.Configuration.AddConfiguration(shape.Source).AddTelemetryVariables();
        builder.WebHost.UseKestrel((_, kestrel) =>
        {
            kestrel.AddServerHeader = false;
            kestrel.Limits.MaxRequestBodySize = MaxBodyBytes;
            kestrel.Limits.MaxConcurrentConnections = 2000;
            kestrel.Configure(shape.Source.GetSection("Kestrel"));
        });
        builder.WebHost.UseUrls(shape.Settings.Http.Urls.Split(';', StringSplitOptions.TrimEntries | StringSplitOptions.RemoveEmptyEntries));
        AddServices(builder.Services, shape, time ?? shape.Time);

        var app = builder.Build();
        UsePipeline(app);
        return app;
    }

    private static void AddServices(IServiceCollection services, ServiceShape shape, TimeProvider time)
    {
        services.AddSingleton(shape);
        services.AddSingleton(time);
        if (shape.Clock is { } clock)
        {
            services.AddSingleton(clock);
        }

        // Who waits for a stream waits in the wall's time, however fast a demonstration runs.
        services.AddKeyedSingleton(EventStreams.Pace, shape.Clock is null ? time : TimeProvider.System);
        services.Configure<HostOptions>(o => o.ShutdownTimeout = Hosting.DrainWithin);
        services.AddLogs(shape.Source);
        services.AddTelemetry();
        services.AddHostFiltering(o =>
        {
            o.AllowEmptyHosts = false;
            o.AllowedHosts = shape.Demo
                ? ["localhost", "127.0.0.1", "[::1]"] // Without a login, a page elsewhere must not reach this one by a name of its own.
                : (shape.Source["AllowedHosts"] ?? "*").Split(';', StringSplitOptions.TrimEntries | StringSplitOptions.RemoveEmptyEntries);
        });
        services.AddRouting();
        services.AddResponseCompression(o => o.EnableForHttps = true); // No page repeats a secret beside what a stranger chose.
        services.AddTankWatch(shape.Settings, openBroker: shape.Demo);
        services.AddVisits();
        services.AddSingleton(provider => new MailLinks(provider.GetRequiredService<LedgerStore>(), () => shape.Settings.Http.PublicUrl ?? (shape.Demo ? OwnAddress(provider) : null)));
        services.AddWebhooks(shape.Settings.Webhooks);
        services.AddSingleton<PushClient>().AddHostedService<PushSender>();
        services.AddSingleton(new AccessRule(OpenToAll: shape.Demo));
        services.AddDataProtection()
            .SetApplicationName("tankwatch")
            .PersistKeysToFileSystem(PrivateFolder.Create(Path.Combine(shape.Settings.Data.Path, "keys")));
        services.AddApi();
        services.AddPages();
    }

    /// <summary>Known once it listens: a demonstration may take any free port.</summary>
    private static string? OwnAddress(IServiceProvider services) =>
        services.GetRequiredService<IServer>().Features.Get<IServerAddressesFeature>()?.Addresses.FirstOrDefault();

    private static void UsePipeline(WebApplication app)
    {
        app.UseMiddleware<SecurityHeaders>();
        app.UseHostCheck();
        app.UseResponseCompression();
        app.UsePageLanguage();
        app.UseProblems();
        app.UseHostFiltering();
        app.UseRouting();
        app.UseMiddleware<Access>();
        app.UseAntiforgery();
        app.MapHealth();
        app.MapPushReceipts();
        app.MapPrometheusScrapingEndpoint("/metrics").WithHead();
        app.MapApi();
        app.MapPages();
    }

    /// <summary>Pages are rendered at an address, which begins with the host: what cannot be one is refused before anything is made of it.</summary>
    private static void UseHostCheck(this WebApplication app) => app.Use((context, next) =>
        context.Request.Host is { HasValue: true } host && Uri.TryCreate($"{context.Request.Scheme}://{host}/", UriKind.Absolute, out _)
            ? next(context)
            : Problems.WriteAsync(context, StatusCodes.Status400BadRequest, "The request's host is no name or address of a host."));
}
