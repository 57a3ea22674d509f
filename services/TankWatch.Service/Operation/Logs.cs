using System.Globalization;
using Serilog;
using Serilog.Events;
using Serilog.Formatting.Compact;

namespace TankWatch.Service.Operation;

/// <summary>Logs go to standard error, so that standard output carries the ready line alone.</summary>
internal static class Logs
{
    /// <summary>
    /// A terminal gets text for people; a pipe or a file gets compact JSON for machines. A <c>Serilog</c> section that says where to
    /// write replaces both.
    /// </summary>
    public static IServiceCollection AddLogs(this IServiceCollection services, IConfiguration source) => services.AddSerilog(logs =>
    {
        logs.MinimumLevel.Information()
            .MinimumLevel.Override("Microsoft", LogEventLevel.Warning)
            .MinimumLevel.Override("Microsoft.Hosting.Lifetime", LogEventLevel.Information)
            // A start that fails is told in one line by Hosting; the trace would only bury it.
            .MinimumLevel.Override("Microsoft.Extensions.Hosting.Internal.Host", LogEventLevel.Fatal)
            // It warns that keys at rest are not encrypted: their folder is private to the user, and there is no certificate to do it with.
            .MinimumLevel.Override("Microsoft.AspNetCore.DataProtection", LogEventLevel.Error)
            // A cookie that is not ours fails its form, which says so; whoever sends one must not fill the log.
            .MinimumLevel.Override("Microsoft.AspNetCore.Antiforgery", LogEventLevel.Fatal)
            .Enrich.FromLogContext()
            .ReadFrom.Configuration(source);
        if (source.GetSection("Serilog:WriteTo").GetChildren().Any())
        {
            return;
        }

        if (Console.IsErrorRedirected)
        {
            logs.WriteTo.Console(new RenderedCompactJsonFormatter(), standardErrorFromLevel: LogEventLevel.Verbose);
        }
        else
        {
            logs.WriteTo.Console(formatProvider: CultureInfo.InvariantCulture, standardErrorFromLevel: LogEventLevel.Verbose);
        }
    });
}
