using System.Text.Json;
using Microsoft.Playwright;
using TankWatch.Browser.Tests.Services;

namespace TankWatch.Browser.Tests.Figures;

/// <summary>What a first load of a page costs: bytes over the wire, headers included, as the browser counts them.</summary>
/// <param name="Parts">Every answer by its address, but for the stream that goes on for ever.</param>
internal sealed record FirstLoad(IReadOnlyList<(string Address, long Bytes)> Parts)
{
    public long Bytes => Parts.Sum(part => part.Bytes);

    /// <param name="page">Of a fresh profile.</param>
    /// <param name="address">What to load.</param>
    public static async Task<FirstLoad> OfAsync(IPage page, string address)
    {
        var (gate, waiting, parts) = (new Lock(), new Dictionary<string, string>(), new List<(string, long)>());
        var session = await page.Context.NewCDPSessionAsync(page);
        await session.SendAsync("Network.enable");
        session.Event("Network.requestWillBeSent").OnEvent += (_, e) =>
        {
            lock (gate)
            {
                if (Member(e, "type").GetString() != "EventSource")
                {
                    waiting[Id(e)] = Member(Member(e, "request"), "url").GetString()!;
                }
            }
        };
        session.Event("Network.loadingFinished").OnEvent += (_, e) =>
        {
            lock (gate)
            {
                if (waiting.Remove(Id(e), out var asked))
                {
                    parts.Add((asked, (long)Member(e, "encodedDataLength").GetDouble()));
                }
            }
        };
        await page.GotoAsync(address, new() { WaitUntil = WaitUntilState.Load });
        await page.EvaluateAsync("() => document.fonts.ready.then(() => {})");
        var (_, load) = await Eventually.Comes(
            () =>
            {
                lock (gate)
                {
                    return Task.FromResult((Waiting: string.Join(", ", waiting.Values), Load: new FirstLoad([.. parts])));
                }
            },
            now => now.Waiting == "", "the end of every request");
        return load;
    }

    private static string Id(JsonElement? element) => Member(element, "requestId").GetString()!;

    private static JsonElement Member(JsonElement? element, string name) => element!.Value.GetProperty(name);
}
