using System.Text.Json;
using TankWatch.Service.Commands;
using TankWatch.Service.Demo;
using TankWatch.Service.Tests.Mail;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Demo;

public sealed class DemoTests
{
    [Fact]
    public async Task The_demonstration_says_when_it_is_ready_and_raises_a_new_alert_within_two_minutes()
    {
        using var stop = CancellationTokenSource.CreateLinkedTokenSource(TestContext.Current.CancellationToken);
        using var said = new StringWriter();
        using var faults = new StringWriter();
        var output = TextWriter.Synchronized(said);
        var folder = Path.Combine(Directory.CreateTempSubdirectory("demo-").FullName, "data");
        var running = DemoRun.RunAsync(new(Port: 0, MailServer.FreePort(), folder), new Terminal(output, faults, Watched: false), stop.Token);
        try
        {
            await Eventually.Holds(() => running.IsCompleted || Said().Any(IsReady), "the ready line", TimeSpan.FromMinutes(3));
            Assert.False(running.IsCompleted, faults.ToString());
            var readyAt = TimeProvider.System.GetUtcNow();
            Assert.Contains(Said(), line => line.Contains("127.0.0.1", StringComparison.Ordinal) && line.Contains("no login", StringComparison.Ordinal));

            using var client = new HttpClient { BaseAddress = new Uri(Said().Single(IsReady)["ready: ".Length..]) };
            Assert.Equal(12, (await GetAsync(client, "/api/v1/sites")).GetArrayLength());
            var alert = await Eventually.Comes(
                async () => (await GetAsync(client, "/api/v1/alerts?state=open")).EnumerateArray().FirstOrDefault(
                    alert => alert.GetProperty("raisedAt").GetDateTimeOffset() > readyAt),
                alert => alert.ValueKind == JsonValueKind.Object, "a new alert", TimeSpan.FromSeconds(120));
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

    private static bool IsReady(string line) => line.StartsWith("ready: http://127.0.0.1:", StringComparison.Ordinal);

    private static string WithoutMarkup(string text) => System.Net.WebUtility.HtmlDecode(text);
}
