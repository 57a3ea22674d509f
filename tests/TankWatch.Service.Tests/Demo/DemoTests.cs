using System.Text.Json;
using Microsoft.AspNetCore.Builder;
using Microsoft.Extensions.Configuration;
using Microsoft.Extensions.DependencyInjection;
using TankWatch.Service.Commands;
using TankWatch.Service.Configuration;
using TankWatch.Service.Demo;
using TankWatch.Service.Operation;
using TankWatch.Service.Tests.Mail;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Demo;

public sealed class DemoTests
{
    private static readonly string[] FirstFour = ["power-failure", "short-cycling", "unit-silent", "repeated-dry-trips"];

    /// <summary>Ten times as fast, what it shows a newcomer in two minutes takes twelve seconds; as fast as it goes, nothing else is shown.</summary>
    [Theory]
    [InlineData(10)]
    [InlineData(600)]
    public async Task The_demonstration_says_when_it_is_ready_and_within_two_minutes_of_its_clock_raises_four_alerts_and_ends_one(int speed)
    {
        using var stop = CancellationTokenSource.CreateLinkedTokenSource(TestContext.Current.CancellationToken);
        using var said = new StringWriter();
        using var faults = new StringWriter();
        var output = TextWriter.Synchronized(said);
        var folder = Path.Combine(Directory.CreateTempSubdirectory("demo-").FullName, "data");
        var running = DemoRun.RunAsync(new(Port: 0, MailServer.FreePort(), folder, speed), new Terminal(output, faults, Watched: false), stop.Token);
        try
        {
            await Eventually.Holds(() => running.IsCompleted || Said().Any(IsReady), "the ready line", TimeSpan.FromMinutes(3));
            Assert.False(running.IsCompleted, faults.ToString());
            Assert.Contains(Said(), line => line.Contains("simulated", StringComparison.Ordinal) && line.Contains($"{speed} times as fast", StringComparison.Ordinal));
            Assert.Contains(Said(), line => line.Contains("127.0.0.1", StringComparison.Ordinal) && line.Contains("no login", StringComparison.Ordinal));

            using var client = new HttpClient { BaseAddress = new Uri(Said().Single(IsReady)["ready: ".Length..]) };
            Assert.Equal(12, (await GetAsync(client, "/api/v1/sites")).GetArrayLength());
            var cut = await Eventually.Comes(
                async () => (await GetAsync(client, "/api/v1/alerts?kind=power-failure")).EnumerateArray().FirstOrDefault(),
                cut => cut.ValueKind == JsonValueKind.Object && cut.GetProperty("clearedAt").ValueKind == JsonValueKind.String,
                "the end of the power cut", TimeSpan.FromSeconds(60));
            var startedAt = RaisedAt(cut).AddSeconds(-18);
            var live = (await GetAsync(client, "/api/v1/alerts")).EnumerateArray().Where(alert => RaisedAt(alert) > startedAt).ToList();
            var inTime = live.Where(alert => RaisedAt(alert) < startedAt.AddMinutes(2)).OrderBy(RaisedAt).ToLookup(alert => FirstFour.Contains(KindOf(alert)));
            var first = inTime[true].ToList();
            Assert.Equal(FirstFour, first.Select(KindOf));

            // The probe that makes the pump start too often is found out itself, at some times of day within the two minutes and at most after them.
            Assert.All(inTime[false], other => Assert.Equal(("pippin-lodge", "probe-fault"), (other.GetProperty("site").GetString(), KindOf(other))));
            Assert.InRange(cut.GetProperty("clearedAt").GetDateTimeOffset(), RaisedAt(first[^1]), startedAt.AddMinutes(2));
            Assert.All(live, alert => Assert.Equal(JsonValueKind.Null, alert.GetProperty("correction").ValueKind)); // No message came late.
            var alert = first[^1];
            await Eventually.Holds(
                () => Directory.Exists(Path.Combine(folder, "mail")) && Directory.EnumerateFiles(Path.Combine(folder, "mail"), "*.eml").Any(), "its mail as a file");
            Assert.Contains(
                WithoutMarkup(alert.GetProperty("summary").GetString()!), WithoutMarkup(await client.GetStringAsync("/", TestContext.Current.CancellationToken)),
                StringComparison.Ordinal);
        }
        finally
        {
            await stop.CancelAsync();
            Assert.Equal(0, await running);
            Directory.Delete(Path.GetDirectoryName(folder)!, recursive: true);
        }

        string[] Said()
        {
            lock (output)
            {
                return said.ToString().Split('\n', StringSplitOptions.RemoveEmptyEntries | StringSplitOptions.TrimEntries);
            }
        }

        static async Task<JsonElement> GetAsync(HttpClient client, string path) =>
            JsonSerializer.Deserialize<JsonElement>(await client.GetStringAsync(path, TestContext.Current.CancellationToken)).GetProperty("items");
    }

    [Fact]
    public async Task Its_clock_is_the_time_of_the_whole_service_and_serve_has_none()
    {
        var clock = new DemoClock(TimeProvider.System, 60);
        await using var demo = Build(clock);
        Assert.Same(clock, demo.Services.GetRequiredService<DemoClock>());
        Assert.Same(clock, demo.Services.GetRequiredService<TimeProvider>());
        await using var serve = Build(null);
        Assert.Null(serve.Services.GetService<DemoClock>());
        Assert.Same(TimeProvider.System, serve.Services.GetRequiredService<TimeProvider>());

        static WebApplication Build(DemoClock? clock)
        {
            var settings = new Settings();
            settings.Data.Path = Directory.CreateTempSubdirectory("demo-").FullName;
            return ServeHost.Build(new ServiceShape(settings, new ConfigurationBuilder().AddInMemoryCollection().Build(), Demo: clock is not null, clock));
        }
    }

    private static string? KindOf(JsonElement alert) => alert.GetProperty("kind").GetString();

    private static DateTimeOffset RaisedAt(JsonElement alert) => alert.GetProperty("raisedAt").GetDateTimeOffset();

    private static bool IsReady(string line) => line.StartsWith("ready: http://127.0.0.1:", StringComparison.Ordinal);

    private static string WithoutMarkup(string text) => System.Net.WebUtility.HtmlDecode(text);
}
