using System.Globalization;
using System.Net.Http.Headers;
using System.Text;
using TankWatch.Service.Api;
using TankWatch.Service.Configuration;
using TankWatch.Service.Mail;
using TankWatch.Service.Operation;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Webhooks;

/// <summary>What came of one try.</summary>
/// <param name="Status">The HTTP status; null when none came.</param>
/// <param name="Detail">One line.</param>
internal abstract record WebhookOutcome(int? Status, string Detail)
{
    public sealed record Delivered(int? Status, string Detail) : WebhookOutcome(Status, Detail);

    /// <summary>The target answers, and does not take this event.</summary>
    public sealed record Refused(int? Status, string Detail) : WebhookOutcome(Status, Detail);

    /// <summary>The target wants no more events, ever.</summary>
    public sealed record Gone(int? Status, string Detail) : WebhookOutcome(Status, Detail);

    /// <summary>The target did not answer, or is not well; it may have asked to be left in peace for a time.</summary>
    public sealed record TryLater(int? Status, string Detail, TimeSpan? Asked) : WebhookOutcome(Status, Detail);
}

/// <summary>Makes one signed request to a target, and reads little of what comes back.</summary>
internal sealed class WebhookCaller : IDisposable
{
    /// <summary>For the whole of one try.</summary>
    public static readonly TimeSpan Patience = TimeSpan.FromSeconds(15);

    /// <summary>More of an answer is not read.</summary>
    private const int MaxAnswerBytes = 4096;
    private const int MaxDetail = 200;

    private readonly WebhookOptions options;
    private readonly TimeProvider time;
    private readonly HttpClient client;

    public WebhookCaller(WebhookOptions options, [FromKeyedServices(EventStreams.Pace)] TimeProvider time)
        : this(options, time, PublicOnlyHandler.Create(options.AllowPrivateTargets))
    {
    }

    internal WebhookCaller(WebhookOptions options, TimeProvider time, SocketsHttpHandler handler)
    {
        (this.options, this.time) = (options, time);
        client = new(handler) { Timeout = Timeout.InfiniteTimeSpan }; // Ours goes by the clock that was given.
        client.DefaultRequestHeaders.UserAgent.ParseAdd("TankWatch");
    }

    /// <param name="hook">The target.</param>
    /// <param name="message">What to send.</param>
    /// <param name="stop">Stops waiting; the message may have arrived.</param>
    public async Task<WebhookOutcome> CallAsync(Webhook hook, WebhookMessage message, CancellationToken stop)
    {
        // Asked again: it may come from a backup, or from before the settings were changed.
        if (WebhookUrl.FaultOf(hook.Url, options) is { } fault)
        {
            return Later(fault);
        }

        using var patience = new CancellationTokenSource(Patience, time);
        using var ending = CancellationTokenSource.CreateLinkedTokenSource(stop, patience.Token);
        try
        {
            using var request = Request(hook, message);
            using var response = await client.SendAsync(request, HttpCompletionOption.ResponseHeadersRead, ending.Token);
            return OutcomeOf(response, await BeginningAsync(response, ending.Token));
        }
        catch (OperationCanceledException) when (!stop.IsCancellationRequested)
        {
            return Later($"no answer within {Patience.TotalSeconds:0} s");
        }
        catch (HttpRequestException failure)
        {
            return Later($"no connection: {(failure.InnerException as NotPublicException ?? (Exception)failure).Message}");
        }
        catch (IOException failure)
        {
            return Later($"the connection broke: {failure.Message}");
        }
    }

    public void Dispose() => client.Dispose();

    private HttpRequestMessage Request(Webhook hook, WebhookMessage message)
    {
        var now = time.GetUtcNow();
        var (seconds, content) = (now.ToUnixTimeSeconds(), new ByteArrayContent(message.Body));
        content.Headers.ContentType = new MediaTypeHeaderValue("application/json");
        return new(HttpMethod.Post, hook.Url)
        {
            Content = content,
            Headers =
            {
                { "webhook-id", message.Id },
                { "webhook-timestamp", seconds.ToString(CultureInfo.InvariantCulture) },
                { "webhook-signature", WebhookSignature.Of(hook.SecretsAt(now), message.Id, seconds, message.Body) },
            },
        };
    }

    private WebhookOutcome OutcomeOf(HttpResponseMessage response, string said)
    {
        var status = (int)response.StatusCode;
        var detail = OneLine(said.Length == 0 ? $"answered {status}" : $"answered {status}: {said}");
        return status switch
        {
            >= 200 and < 300 => new WebhookOutcome.Delivered(status, detail),
            410 => new WebhookOutcome.Gone(status, detail),
            408 or 425 or 429 or >= 500 => new WebhookOutcome.TryLater(status, detail, Asked(response.Headers.RetryAfter)),
            >= 400 => new WebhookOutcome.Refused(status, detail),
            _ => new WebhookOutcome.TryLater(status, $"answered {status}, which is neither yes nor no; redirects are not followed", null),
        };
    }

    private TimeSpan? Asked(RetryConditionHeaderValue? header) => header?.Delta ?? header?.Date - time.GetUtcNow();

    private static async Task<string> BeginningAsync(HttpResponseMessage response, CancellationToken stop)
    {
        await using var stream = await response.Content.ReadAsStreamAsync(stop);
        var bytes = new byte[MaxAnswerBytes];
        return Encoding.UTF8.GetString(bytes, 0, await stream.ReadAtLeastAsync(bytes, bytes.Length, throwOnEndOfStream: false, stop));
    }

    private static WebhookOutcome.TryLater Later(string detail) => new(null, OneLine(detail), null);

    private static string OneLine(string text) => MailWords.OneLine(text, MaxDetail);
}
