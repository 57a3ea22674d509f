using System.Globalization;
using CsvHelper;
using Microsoft.Net.Http.Headers;
using Microsoft.OpenApi;

namespace TankWatch.Service.Api.Csv;

/// <summary>A table for a spreadsheet, for whoever asks with <c>Accept: text/csv</c>.</summary>
internal static class CsvAnswer
{
    public const string MediaType = "text/csv";

    /// <summary>Whether the client would rather have CSV than JSON. Says in any case that the answer depends on it.</summary>
    public static bool IsWanted(HttpContext context)
    {
        context.Response.Headers.Append(HeaderNames.Vary, HeaderNames.Accept);
        var accepted = context.Request.GetTypedHeaders().Accept;
        return QualityOf(MediaType) is > 0 and var csv && csv >= QualityOf("application/json");

        // What is asked for by its name alone: who takes anything gets JSON.
        double QualityOf(string type) => accepted.Where(a => a.MediaType.Equals(type, StringComparison.OrdinalIgnoreCase)).Max(a => a.Quality ?? 1, 0);
    }

    /// <summary>Says in the OpenAPI document that the route answers so too.</summary>
    public static RouteHandlerBuilder WithCsv(this RouteHandlerBuilder route, string description) => route.AddOpenApiOperationTransformer((operation, _, _) =>
    {
        if (operation.Responses?["200"].Content is { } content)
        {
            content[MediaType] = new() { Schema = new OpenApiSchema { Type = JsonSchemaType.String, Description = description } };
        }

        return Task.CompletedTask;
    });

    private static double Max(this IEnumerable<MediaTypeHeaderValue> accepted, Func<MediaTypeHeaderValue, double> quality, double none) =>
        accepted.Select(quality).DefaultIfEmpty(none).Max();
}

/// <summary>CSV (RFC 4180), UTF-8, written as its rows are read: a long table costs no memory.</summary>
/// <param name="name">Of the file, without its ending.</param>
/// <param name="columns">With their units.</param>
/// <param name="rows">As many cells each as there are columns.</param>
internal sealed class CsvResult(string name, IReadOnlyList<string> columns, IEnumerable<IReadOnlyList<object?>> rows) : IResult
{
    /// <summary>A spreadsheet takes text that begins like a formula for one, and would run it; numbers may begin with a minus.</summary>
    private static readonly CsvWriterOptions Options = new() { Injection = CsvInjection.Escape, TrueValue = "true", FalseValue = "false" };

    public async Task ExecuteAsync(HttpContext httpContext)
    {
        var (response, stop) = (httpContext.Response, httpContext.RequestAborted);
        var file = new ContentDispositionHeaderValue("attachment");
        file.SetHttpFileName($"{name}.csv");
        (response.ContentType, response.Headers.ContentDisposition) = ($"{CsvAnswer.MediaType}; charset=utf-8; header=present", file.ToString());
        await using var csv = CsvWriter.Create(response.Body, Options, leaveOpen: true);
        foreach (var row in rows.Prepend(columns))
        {
            foreach (var cell in row)
            {
                csv.WriteField(Written(cell));
            }

            await csv.EndRecordAsync(stop); // Waits for a slow client; the rows behind are not read meanwhile.
        }
    }

    private static object? Written(object? cell) => cell switch
    {
        DateTimeOffset time => Core.Time.Rfc3339.Format(time),
        DateOnly date => date.ToString("yyyy-MM-dd", CultureInfo.InvariantCulture),
        _ => cell,
    };
}
