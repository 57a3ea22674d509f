using OpenTelemetry.Metrics;
using OpenTelemetry.Trace;
using TankWatch.Service.Sites;

namespace TankWatch.Service.Operation;

internal static class Telemetry
{
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
