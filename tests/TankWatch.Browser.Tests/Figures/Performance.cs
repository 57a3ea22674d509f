using System.Globalization;
using System.Net;
using System.Text;
using System.Text.RegularExpressions;
using TankWatch.Browser.Tests.Browsing;
using TankWatch.Browser.Tests.Connection;
using TankWatch.Browser.Tests.Services;
using Xunit;

namespace TankWatch.Browser.Tests.Figures;

/// <summary>Not a test: measures and writes a section of docs/performance.md when asked for by name, as tests/figures.sh does. No test waits for these figures.</summary>
public sealed partial class Performance(Chromium chromium)
{
    private const int ColdLoads = 5;
    private const int Messages = 20;
    private const int Answers = 400;
    private static readonly TimeSpan Quiet = TimeSpan.FromSeconds(2);
    private readonly StringBuilder table = new();

    [Fact(Explicit = true)]
    public async Task The_figures_of_the_pages()
    {
        var file = Environment.GetEnvironmentVariable("FIGURES_FILE") ?? throw new InvalidOperationException("FIGURES_FILE names no file.");
        await using var demo = await RunningService.DemoAsync();
        await FirstLoadAsync(demo, "12 buildings", parts: true);
        await LargestPaintsAsync(demo);
        await MessagesAsync();
        await AnswersAsync(demo);
        await File.WriteAllTextAsync(file, Text(), TestContext.Current.CancellationToken);
    }

    private Task FirstLoadAsync(RunningService demo, string estate, bool parts) => chromium.VisitAsync(null, Look.Phone, async visit =>
    {
        var load = await FirstLoad.OfAsync(visit.Page, demo.Url + "/");
        Add($"First load of `/`, {estate}, everything on the wire", $"{Kilobytes(load.Bytes)} in {load.Parts.Count} answers", "at most 60 KB", load.Bytes <= 60 * 1024);
        foreach (var (address, bytes) in load.Parts.Where(_ => parts).OrderByDescending(part => part.Bytes))
        {
            Add($"· of that `{Hash().Replace(new Uri(address).AbsolutePath, "/assets/…/")}`", $"{Kilobytes(bytes)}, {bytes / (double)load.Bytes:P0}", "", null);
        }
    });

    private async Task LargestPaintsAsync(RunningService demo)
    {
        foreach (var (name, path) in new[] { ("`/`", "/"), ("one building", "/sites/finch-mews") })
        {
            var times = new List<double>();
            for (var load = 0; load < ColdLoads; load++)
            {
                times.Add(await SlowPhone.LargestPaintAsync(chromium, demo.Url + path));
            }

            var spread = new Spread(times);
            Add(
                $"Largest paint of {name}, slow phone on slow 4G, {ColdLoads} cold loads", $"median {Milliseconds(spread.Median)}, worst {Milliseconds(spread.Worst)}",
                "at most 2 000 ms", spread.Worst <= 2000);
        }
    }

    private async Task MessagesAsync()
    {
        await using var building = await ServedBuilding.StartAsync();
        await building.FailPowerAsync();
        await chromium.VisitAsync(building.Service.Url + "/", Look.Phone, async visit =>
        {
            await building.SignInAsync(visit);
            var watch = new MessageWatch(building, visit.Page);
            await watch.MeasureAsync("100");
            var times = new List<double>();
            using var beat = new PeriodicTimer(Quiet); // A page that has just looked waits before it looks again.
            while (times.Count < Messages)
            {
                await beat.WaitForNextTickAsync();
                times.Add((await watch.MeasureAsync(times.Count % 2 == 0 ? "110" : "100")).TotalMilliseconds);
            }

            var spread = new Spread(times);
            Add(
                $"From a message to the words on an open page, {Messages} messages", $"median {Milliseconds(spread.Median)}, worst {Milliseconds(spread.Worst)}",
                "worst at most 1 000 ms", spread.Worst <= 1000);
        });
    }

    private async Task AnswersAsync(RunningService demo)
    {
        var (few, _, _) = await Spread.OfAnswersAsync(demo.Url, ["/"], Answers);
        var now = TimeProvider.System.GetUtcNow();
        var count = await BigEstate.SettleInAsync(demo, now);
        await FirstLoadAsync(demo, $"{BigEstate.Buildings} more buildings", parts: false);
        var first = await PathsAsync(demo);
        var (plain, _, plainBytes) = await Spread.OfAnswersAsync(demo.Url, ["/"], Answers);
        var (many, largest, most) = await Spread.OfAnswersAsync(demo.Url, first, Answers);
        Add("Answer of `/`, 12 buildings", Share(few), "", null);
        Add(
            $"Answer of `/` alone, {BigEstate.Buildings} more buildings ({count} messages); {Kilobytes(plainBytes)} before compression",
            $"{Share(plain)}; {plain.Median / few.Median:0.0} times that of 12", "p99 at most 100 ms", plain.P99 <= 100);
        Add(
            $"The same, {first.Count} pages, filters and searches in turn; the largest, `{largest}`, {Kilobytes(most)} before compression",
            Share(many), "p99 at most 100 ms", many.P99 <= 100);

        var page = $"/sites/{BigEstate.Month}?view=month";
        var (month, _, monthBytes) = await Spread.OfAnswersAsync(demo.Url, [page], Answers / 4);
        Add($"Page of one building, 30 days with a chattering probe; {Kilobytes(monthBytes)} before compression", Share(month), "", null);

        using var client = new HttpClient { BaseAddress = new Uri(demo.Url) };
        var html = await client.GetStringAsync(page);
        if (Part().Match(html) is { Success: true } part)
        {
            var path = WebUtility.HtmlDecode(part.Groups[1].Value) + $"&from={Stamp(now.AddDays(-30))}&to={Stamp(now)}";
            var (strip, _, bytes) = await Spread.OfAnswersAsync(demo.Url, [path], Answers / 4);
            Add($"Its strip alone, 30 days; {Kilobytes(bytes)} before compression", $"{Share(strip)}; {strip.Median / month.Median:0.00} of the page", "p99 at most 150 ms", strip.P99 <= 150);
        }
    }

    /// <summary>The first pages of all, each filter on offer, and some searches.</summary>
    private static async Task<IReadOnlyList<string>> PathsAsync(RunningService demo)
    {
        using var client = new HttpClient { BaseAddress = new Uri(demo.Url) };
        var paths = new List<string> { "/", "/?q=court", "/?q=finch+mews+1", "/?q=qh-02a", "/?q=no-such-building", "/?wrong=any&q=row" };
        var first = await client.GetStringAsync("/");
        paths.AddRange(Choice().Matches(first).Select(match => WebUtility.HtmlDecode(match.Groups[1].Value)));
        for (var (page, next) = (0, first); page < 5 && Next().Match(next) is { Success: true } link; page++)
        {
            paths.Add(WebUtility.HtmlDecode(link.Groups[1].Value));
            next = await client.GetStringAsync(paths[^1]);
        }

        return paths;
    }

    private string Text() => $"""
        ## Pages

        Measured by `bash tests/figures.sh` on {TimeProvider.System.GetUtcNow():yyyy-MM-dd}, commit `{Environment.GetEnvironmentVariable("FIGURES_COMMIT") ?? "unknown"}`, with the browser and the
        service on one machine: {Environment.ProcessorCount} processors ({Processor()}), Chromium {chromium.Version}, .NET {Environment.Version}.
        The estate is invented and its seed fixed; the clock is not, so the numbers of alerts differ a little from run to run.

        | what | measured | aim | |
        | --- | --- | --- | --- |
        {table.ToString().TrimEnd()}

        The slow phone is the preset "Slow 4G" of Chromium's developer tools (562.5 ms a round trip, 1.44 Mbit/s down, 675 kbit/s up) with the processor
        four times slower, an empty cache and a fresh profile; for the largest paint the Core Web Vitals call 2 500 ms good at the 75th percentile of visits.
        Answers are asked over one local connection, one after the other, after a tenth as many that do not count. The aims are our own.
        """ + "\n";

    private void Add(string what, string measured, string aim, bool? met) =>
        table.AppendLine(CultureInfo.InvariantCulture, $"| {what} | {measured} | {aim} | {met switch { true => "met", false => "**missed**", null => "" }} |");

    private static string Share(Spread spread) => $"p50 {Milliseconds(spread.Median)}, p99 {Milliseconds(spread.P99)} of {spread.Count}";

    private static string Milliseconds(double value) =>
        value.ToString(value < 10 ? "0.0" : "#,0", CultureInfo.InvariantCulture).Replace(',', ' ') + " ms";

    private static string Kilobytes(long bytes) => (bytes / 1024.0).ToString("0.0", CultureInfo.InvariantCulture) + " KB";

    private static string Stamp(DateTimeOffset at) => at.UtcDateTime.ToString("yyyy-MM-ddTHH:mm:ssZ", CultureInfo.InvariantCulture);

    private static string Processor() => File.Exists("/proc/cpuinfo")
        && File.ReadLines("/proc/cpuinfo").FirstOrDefault(line => line.StartsWith("model name", StringComparison.Ordinal)) is { } line
        ? line[(line.IndexOf(':', StringComparison.Ordinal) + 1)..].Trim() : "of an unknown kind";

    [GeneratedRegex("data-part=\"([^\"]+)\"")]
    private static partial Regex Part();

    [GeneratedRegex("href=\"(/\\?wrong=[^\"]+)\"")]
    private static partial Regex Choice();

    [GeneratedRegex("href=\"([^\"]+)\" rel=\"next\"")]
    private static partial Regex Next();

    [GeneratedRegex("/assets/[^/]+/")]
    private static partial Regex Hash();
}
