using System.Diagnostics;
using System.Globalization;
using System.Text;
using TankWatch.Service.Ingest;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Figures;

/// <summary>Not a test: measures the way from the inbox to what is told, without a broker, when asked for by name.</summary>
public sealed class KeeperFigures(ITestOutputHelper output)
{
    private const int Sites = 1000;
    private static readonly int Rounds = int.TryParse(Environment.GetEnvironmentVariable("FIGURES_ROUNDS"), CultureInfo.InvariantCulture, out var rounds) ? rounds : 300;

    [Fact(Explicit = true)]
    public async Task Processor_time_of_a_message_from_the_inbox_on()
    {
        await using var rig = Rig.New(TimeProvider.System);
        for (var site = 0; site < Sites; site++)
        {
            Assert.Null(rig.Put(SampleSite.Json($"site-{site}", $"fu-{site}")));
        }

        await rig.StartAsync();
        var start = rig.Time.GetUtcNow().AddSeconds(-Rounds);
        await RoundsAsync(rig, start, 0, 20);
        await rig.SettleAsync();
        var (cpu, wall) = (Process.GetCurrentProcess().TotalProcessorTime, Stopwatch.StartNew());
        var before = GC.GetTotalAllocatedBytes();
        await RoundsAsync(rig, start, 20, Rounds);
        await rig.SettleAsync();
        var count = (Rounds - 20) * Sites;
        output.WriteLine(string.Create(CultureInfo.InvariantCulture, $"""
            {count} messages of {Sites} sites in {wall.Elapsed.TotalSeconds:0.0} s: {count / wall.Elapsed.TotalSeconds:0} a second,
            {(Process.GetCurrentProcess().TotalProcessorTime - cpu).TotalMicroseconds / count:0.0} µs of processor and {(GC.GetTotalAllocatedBytes() - before) / count} bytes allocated for each, making the message included
            """));
    }

    private static async Task RoundsAsync(Rig rig, DateTimeOffset start, int from, int to)
    {
        for (var round = from; round < to; round++)
        {
            var at = SampleSite.At(start.AddSeconds(round));
            var wet = (round % 6) switch { 0 => "false,false,false", 1 => "true,false,false", 2 => "true,true,false", 3 => "true,true,true", 4 => "true,true,false", _ => "true,false,false" };
            for (var site = 0; site < Sites; site++)
            {
                var json = $$"""{"at":"{{at}}","boot":1,"seq":{{round}},"tank":"roof","wet":[{{wet}}]}""";
                await rig.Inbox.TakeInAsync(new ReceivedMessage($"tankwatch/v1/fu-{site}/level", Encoding.UTF8.GetBytes(json), false, rig.Time.GetUtcNow()), null, CancellationToken.None);
            }
        }
    }
}
