using System.Text.Json;
using System.Text.Json.Serialization;
using TankWatch.Service.Operation;

namespace TankWatch.Service.Api;

/// <summary>The API: its routes, and how its JSON is read and written.</summary>
public static class ApiRoutes
{
    public const string Prefix = "/api/v1";

    public static IServiceCollection AddApi(this IServiceCollection services)
    {
        services.AddSingleton<BrowserSession>().AddSingleton<CallerFinder>().AddSingleton<AlertDesk>().AddSingleton<SummaryReader>().AddSingleton<LoadReader>().AddSingleton<EventStreams>();
        services.Configure<RouteHandlerOptions>(o => o.ThrowOnBadRequest = true); // So that UseProblems can say what was wrong.
        services.ConfigureHttpJsonOptions(o =>
        {
            var json = o.SerializerOptions;
            json.NumberHandling = JsonNumberHandling.Strict;
            json.RespectNullableAnnotations = true;
            json.RespectRequiredConstructorParameters = true;
            json.AllowDuplicateProperties = false;
            json.Encoder = System.Text.Encodings.Web.JavaScriptEncoder.Default;
            json.Converters.Add(new TimeConverter());
        });
        services.AddProblemDetails();
        services.AddOpenApiDocument();
        return services;
    }

    public static void MapApi(this WebApplication app)
    {
        app.MapOpenApi("/openapi/{documentName}.json").WithHead();
        var api = app.MapGroup(Prefix)
            .ProducesProblem(StatusCodes.Status400BadRequest)
            .ProducesProblem(StatusCodes.Status401Unauthorized)
            .ProducesProblem(StatusCodes.Status500InternalServerError);
        api.MapSites();
        api.MapFigures();
        api.MapAlerts();
        api.MapUnits();
        api.MapVisits();
        api.MapWebhooks();
        api.MapPush();
    }

    /// <summary>RFC 3339 in UTC with milliseconds and <c>Z</c> on the way out; any offset on the way in.</summary>
    private sealed class TimeConverter : JsonConverter<DateTimeOffset>
    {
        public override DateTimeOffset Read(ref Utf8JsonReader reader, Type typeToConvert, JsonSerializerOptions options) =>
            reader.TokenType == JsonTokenType.String && Core.Time.Rfc3339.TryParse(reader.GetString(), out var time) ? time : throw new JsonException();

        public override void Write(Utf8JsonWriter writer, DateTimeOffset value, JsonSerializerOptions options) =>
            writer.WriteStringValue(Core.Time.Rfc3339.Format(value));
    }
}
