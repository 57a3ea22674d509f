using OpenTelemetry.Metrics;

namespace TankWatch.Service.Operation;

internal static class Telemetry
{
    private const string OwnMeter = "TankWatch";

    /// <summary>Metrics for whoever scrapes <c>/metrics</c>, and for an OTLP collector when the environment names one.</summary>
    public static IServiceCollection AddTelemetry(this IServiceCollection services)
    {
        services.AddMetrics();
        services.AddOpenTelemetry().WithMetrics(metrics =>
        {
            metrics.AddMeter(OwnMeter, "Microsoft.AspNetCore.Hosting", "Microsoft.AspNetCore.Server.Kestrel", "System.Runtime")
                .AddPrometheusExporter();
            if (!string.IsNullOrWhiteSpace(Environment.GetEnvironmentVariable("OTEL_EXPORTER_OTLP_ENDPOINT")))
            {
                metrics.AddOtlpExporter();
            }
        });
        return services;
    }
}
