using System.Net.Mime;
using System.Text.Json;
using System.Text.RegularExpressions;
using Microsoft.AspNetCore.Connections.Features;
using Microsoft.AspNetCore.Diagnostics;
using Microsoft.AspNetCore.Http.Features;
using Microsoft.AspNetCore.Http.HttpResults;
using Microsoft.AspNetCore.Mvc;
using Microsoft.AspNetCore.WebUtilities;
using Microsoft.Data.Sqlite;
using TankWatch.Service.Storage;
using TankWatch.Service.Pages;

namespace TankWatch.Service.Api;

/// <summary>Every error is an RFC 9457 problem, whoever raises it: a route, the router, the reader of bodies, or a fault of ours.</summary>
internal static partial class Problems
{
    private const string MediaType = "application/problem+json";
    private const string AskAgainSeconds = "2";
    private static readonly TimeSpan RestOfBody = TimeSpan.FromSeconds(1);

    public static ProblemHttpResult NotFound(string detail) => TypedResults.Problem(detail, statusCode: StatusCodes.Status404NotFound);

    public static ProblemHttpResult BadRequest(string detail) => TypedResults.Problem(detail, statusCode: StatusCodes.Status400BadRequest);

    public static ProblemHttpResult Conflict(string detail) => TypedResults.Problem(detail, statusCode: StatusCodes.Status409Conflict);

    /// <summary>Writes whatever the client says it accepts: an error in an unloved format beats an empty answer.</summary>
    public static Task WriteAsync(HttpContext context, int status, string? detail = null)
    {
        context.Response.StatusCode = status;
        var problem = new ProblemDetails
        {
            Type = "about:blank", Status = status, Title = ReasonPhrases.GetReasonPhrase(status), Detail = detail ?? DetailOf(context, status),
        };
        return context.Response.WriteAsJsonAsync(problem, options: null, MediaType);
    }

    /// <summary>The sites are not read yet: whoever asks is to ask again, and a browser does so by itself.</summary>
    public static Task SayReadingAsync(HttpContext context)
    {
        context.Response.Headers.RetryAfter = AskAgainSeconds;
        if (!IsForPeople(context))
        {
            return WriteAsync(context, StatusCodes.Status503ServiceUnavailable, "The sites are being read; ask again in a moment.");
        }

        context.Response.Headers["Refresh"] = AskAgainSeconds;
        return PageRoutes.Say(Words.Say("problem.reading"), StatusCodes.Status503ServiceUnavailable).ExecuteAsync(context);
    }

    /// <summary>Gives answers without a body one, and turns exceptions into answers.</summary>
    public static void UseProblems(this WebApplication app)
    {
        app.UseExceptionHandler(new ExceptionHandlerOptions
        {
            ExceptionHandler = HandleAsync,
            // The client's fault fills no log, nor does the client's or the service's end.
            SuppressDiagnosticsCallback = failed => failed.Exception is BadHttpRequestException || IsOfAnEnd(failed.HttpContext, failed.Exception),
        });
        app.UseStatusCodePages(context => IsForPeople(context.HttpContext)
            ? SayAsync(context.HttpContext, context.HttpContext.Response.StatusCode)
            : WriteAsync(context.HttpContext, context.HttpContext.Response.StatusCode));
    }

    private static Task HandleAsync(HttpContext context)
    {
        var error = context.Features.GetRequiredFeature<IExceptionHandlerFeature>().Error;
        if (IsStopping(context))
        {
            _ = CutOffAsync(context.Features.Get<IConnectionLifetimeFeature>());
        }

        if (IsForPeople(context))
        {
            return SayAsync(context, error switch
            {
                BadHttpRequestException bad => bad.StatusCode,
                StoreException or SqliteException => StatusCodes.Status503ServiceUnavailable,
                _ when IsOfAnEnd(context, error) => StatusCodes.Status503ServiceUnavailable,
                _ => StatusCodes.Status500InternalServerError,
            });
        }

        return error switch
        {
            BadHttpRequestException bad => WriteAsync(context, bad.StatusCode, DetailOf(bad)),
            StoreException or SqliteException => WriteAsync(
                context, StatusCodes.Status503ServiceUnavailable, "The store cannot be used at the moment; nothing was changed."),
            _ when IsOfAnEnd(context, error) => WriteAsync(
                context, StatusCodes.Status503ServiceUnavailable, "The service is going down; ask again when it is back."),
            _ => WriteAsync(context, StatusCodes.Status500InternalServerError, "This is a fault of the service; its log says more."),
        };
    }

    /// <summary>Once it has answered, the server waits for the rest of the body to come: at the end of the service not for longer than this.</summary>
    private static async Task CutOffAsync(IConnectionLifetimeFeature? connection)
    {
        await Task.Delay(RestOfBody, TimeProvider.System);
        connection?.Abort();
    }

    private static bool IsOfAnEnd(HttpContext context, Exception error) =>
        error is OperationCanceledException && (context.RequestAborted.IsCancellationRequested || IsStopping(context));

    private static bool IsStopping(HttpContext context) =>
        context.RequestServices.GetRequiredService<IHostApplicationLifetime>().ApplicationStopping.IsCancellationRequested;

    /// <summary>The framework's own text names types of ours; what helps the client is the member or the parameter.</summary>
    private static string DetailOf(BadHttpRequestException bad)
    {
        if (bad.InnerException is JsonException json)
        {
            return json.LineNumber is { } line
                ? $"The body does not fit: {json.Path ?? "$"}, line {line + 1}, byte {json.BytePositionInLine + 1}."
                : $"The body does not fit: {json.Path ?? "$"} or a member that is needed.";
        }

        return bad.StatusCode switch
        {
            StatusCodes.Status413PayloadTooLarge => "The body is larger than 1 MiB.",
            StatusCodes.Status415UnsupportedMediaType => UnsupportedMedia,
            _ when ParameterName().Match(bad.Message) is { Success: true } found => $"'{found.Groups[1].Value}' cannot be read.",
            _ => "The request cannot be read.",
        };
    }

    private const string UnsupportedMedia = $"The body must be {MediaTypeNames.Application.Json}.";

    private static string? DetailOf(HttpContext context, int status) => status switch
    {
        StatusCodes.Status404NotFound => "There is nothing at this address.",
        StatusCodes.Status405MethodNotAllowed => $"This address does not take {context.Request.Method}.",
        StatusCodes.Status415UnsupportedMediaType => UnsupportedMedia,
        _ => null,
    };

    private static bool IsForPeople(HttpContext context) =>
        !context.Request.Path.StartsWithSegments("/api") && context.Request.GetTypedHeaders().Accept.Any(a =>
            a.MediaType.Equals(MediaTypeNames.Text.Html, StringComparison.OrdinalIgnoreCase) && a.Quality is not 0);

    private static Task SayAsync(HttpContext context, int status) => PageRoutes.Say(SentenceOf(status), status).ExecuteAsync(context);

    private static string SentenceOf(int status) => status switch
    {
        StatusCodes.Status404NotFound => Words.Say("problem.page"),
        StatusCodes.Status400BadRequest => Words.Say("problem.form"),
        StatusCodes.Status503ServiceUnavailable => Words.Say("problem.store"),
        _ => Words.Say("problem.other", ("status", $"{status} {ReasonPhrases.GetReasonPhrase(status)}")),
    };

    [GeneratedRegex("parameter \"\\S+ (\\w+)\"")]
    private static partial Regex ParameterName();
}
