using OpenTelemetry.Metrics;
using OpenTelemetry.Trace;
using TankWatch.Service.Sites;

namespace TankWatch.Service.Operation;

internal static class Telemetry
{
    /// <summary>The exporters look for their variables in the configuration, where nothing of the environment is that was not checked.</summary>
    public static IConfigurationBuilder AddTelemetryVariables(this IConfigurationBuilder configuration) => configuration.AddInMemoryCollection(
        Environment.GetEnvironmentVariables().Cast<System.Collections.DictionaryEntry>()
            .Select(variable => KeyValuePair.Create((string)variable.Key, (string?)variable.Value))
            .Where(variable => variable.Key.StartsWith("OTEL_", StringComparison.Ordinal)));

    /// <summary>Metrics for whoever scrapes <c>/metrics</c>; metrics and traces for an OTLP collector when the environment names one.</summary>
    public static IServiceCollection AddTelemetry(this IServiceCollection services)
    {
        services.AddMetrics();
        var hasCollector = !string.IsNullOrWhiteSpace(Environment.GetEnvironmentVariable("OTEL_EXPORTER_OTLP_ENDPOINT"));
        var telemetry = services.AddOpenTelemetry().WithMetrics(metrics =>
        {
            metrics.AddMeter(ServiceMetrics.MeterName, "Microsoft.AspNetCore.Hosting", "Microsoft.AspNetCore.Server.Kestrel", "System.Runtime")
                .AddPrometheusExporter();
            if (hasCollector)
            {
                metrics.AddOtlpExporter();
            }
        });
        if (hasCollector)
        {
            telemetry.WithTracing(traces => traces.AddSource(MessageTraces.SourceName).AddOtlpExporter());
        }

        return services;
    }
}
