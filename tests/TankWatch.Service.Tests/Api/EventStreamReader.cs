using System.Globalization;
using System.Net;
using System.Text;
using System.Text.Json;
using Xunit;

namespace TankWatch.Service.Tests.Api;

/// <summary>One block of an event stream, up to its empty line.</summary>
/// <param name="Type">Of the event.</param>
/// <param name="Data">Null when the block is no event, because it has no data.</param>
/// <param name="LastEventId">As a client would send it from here on.</param>
/// <param name="Retry">Milliseconds, if it says so.</param>
/// <param name="Comments">Without their colon.</param>
internal sealed record StreamBlock(string Type, string? Data, string LastEventId, int? Retry, IReadOnlyList<string> Comments)
{
    public JsonElement Json => JsonSerializer.Deserialize<JsonElement>(Data!);

    public long Position => long.Parse(LastEventId, NumberStyles.None, CultureInfo.InvariantCulture);
}

/// <summary>
/// Reads server-sent events by the HTML standard (WHATWG, living standard): the grammar of 9.2.5 and the interpretation of 9.2.6
/// [V-2nd]. Stricter than a browser: an unknown field, a byte that is no UTF-8, or an end within a block is a fault.
/// </summary>
/// <remarks>
/// <code>
/// stream      = [ bom ] *event
/// event       = *( comment / field ) end-of-line
/// comment     = colon *any-char end-of-line
/// field       = 1*name-char [ colon [ space ] *any-char ] end-of-line
/// end-of-line = ( cr lf / cr / lf )
/// </code>
/// </remarks>
internal sealed class EventStreamReader : IDisposable
{
    private static readonly TimeSpan Patience = TimeSpan.FromSeconds(90);

    private readonly HttpResponseMessage response;
    private readonly StreamReader lines;
    private string lastEventId = "";

    private EventStreamReader(HttpResponseMessage response, Stream body) =>
        (this.response, lines) = (response, new(body, new UTF8Encoding(false, throwOnInvalidBytes: true)));

    public HttpResponseMessage Response => response;

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    /// <summary>Fails unless the answer is a stream.</summary>
    public static async Task<EventStreamReader> OpenAsync(HttpClient client, HttpRequestMessage request)
    {
        request.Headers.Accept.ParseAdd("text/event-stream"); // 9.2.2, the EventSource constructor, sets it.
        var response = await client.SendAsync(request, HttpCompletionOption.ResponseHeadersRead, Stop);
        Assert.True(response.StatusCode == HttpStatusCode.OK, $"{request.RequestUri}: {(int)response.StatusCode}");
        Assert.Equal("text/event-stream", response.Content.Headers.ContentType?.MediaType);
        Assert.Empty(response.Content.Headers.ContentEncoding);
        return new(response, await response.Content.ReadAsStreamAsync(Stop));
    }

    /// <summary>The next event; blocks without data are passed over.</summary>
    public async Task<StreamBlock> EventAsync(string what)
    {
        while (true)
        {
            if (await BlockAsync(what) is { Data: not null } happened)
            {
                return happened;
            }
        }
    }

    public async Task<StreamBlock> BlockAsync(string what) =>
        await ReadAsync(what) ?? throw new InvalidOperationException($"the stream ended before {what}");

    /// <summary>Fails unless the stream ends in order, with nothing before its end.</summary>
    public async Task EndAsync(string what) => Assert.Null(await ReadAsync($"the end: {what}"));

    public void Dispose()
    {
        response.Dispose();
        lines.Dispose();
    }

    private async Task<StreamBlock?> ReadAsync(string what)
    {
        using var patience = CancellationTokenSource.CreateLinkedTokenSource(Stop);
        patience.CancelAfter(Patience);
        try
        {
            return await InterpretAsync(patience.Token);
        }
        catch (OperationCanceledException) when (!Stop.IsCancellationRequested)
        {
            throw new TimeoutException($"still missing: {what}");
        }
    }

    private async Task<StreamBlock?> InterpretAsync(CancellationToken stop)
    {
        var (type, data, comments) = ("", new List<string>(), new List<string>());
        int? retry = null;
        var isFirst = true;
        while (await lines.ReadLineAsync(stop) is { } line)
        {
            if (line.Length == 0)
            {
                return new(type.Length == 0 ? "message" : type, data.Count == 0 ? null : string.Join('\n', data), lastEventId, retry, comments);
            }

            isFirst = false;
            var colon = line.IndexOf(':', StringComparison.Ordinal);
            var (field, value) = colon < 0 ? (line, "") : (line[..colon], line[(colon + 1)..]);
            value = value.StartsWith(' ') ? value[1..] : value;
            switch (field)
            {
                case "":
                    comments.Add(value);
                    break;
                case "event":
                    type = value;
                    break;
                case "data":
                    data.Add(value);
                    break;
                case "id":
                    Assert.DoesNotContain('\0', value);
                    lastEventId = value;
                    break;
                case "retry":
                    Assert.All(value, digit => Assert.True(char.IsAsciiDigit(digit), value));
                    retry = int.Parse(value, CultureInfo.InvariantCulture);
                    break;
                default:
                    Assert.Fail($"no field of the standard: {line}");
                    break;
            }
        }

        Assert.True(isFirst, "the stream ended within a block");
        return null;
    }
}
