using System.Globalization;
using System.IO.Compression;
using System.Text.Json.Nodes;
using TankWatch.Service.Commands;
using TankWatch.Service.Tests.Commands;
using Xunit;

namespace TankWatch.Service.Tests.Figures;

/// <summary>What a replay costs. Run by name, with <c>-explicit only</c>.</summary>
public sealed class ReplayFigures : IDisposable
{
    private const int Days = 365;

    private readonly Shell shell = new();

    public void Dispose() => shell.Dispose();

    /// <summary>In time of a processor, all threads together, so that neighbours on the machine do not count.</summary>
    [Fact(Explicit = true)]
    public async Task A_year_replayed_on_one_processor()
    {
        var messages = Directory.GetDirectories(Path.Combine(AppContext.BaseDirectory, "Data", "hydraulics")).Order(StringComparer.Ordinal).Sum(Lengthen);
        var replay = () => Shell.RunAsync("replay", "--folders", shell.Folder, "--cores", "1");
        (await replay()).Succeeded(); // The first warms up.
        var rounds = await FigureTable.RepeatAsync(async () => (Reading: await CostAsync(ReadPlainly), Replay: await CostAsync(replay)));
        var rate = FigureTable.Median(rounds.Select(r => messages / r.Replay));
        FigureTable.Add(
            $"A year of {Directory.GetDirectories(shell.Folder).Length} sites replayed, {messages} messages, per second of a processor; against reading the lines of the same files alone",
            $"{rate:0}/s; {FigureTable.Median(rounds.Select(r => r.Replay / r.Reading)):0.0} times as long", "at least 150000/s", rate >= 150_000);
    }

    /// <returns>Seconds of a processor.</returns>
    private static async Task<double> CostAsync(Func<Task> work)
    {
        var before = Environment.CpuUsage.TotalTime;
        await work();
        return (Environment.CpuUsage.TotalTime - before).TotalSeconds;
    }

    private Task ReadPlainly()
    {
        foreach (var file in Directory.GetFiles(shell.Folder, "recording.jsonl", SearchOption.AllDirectories))
        {
            using var stream = File.OpenRead(file);
            Assert.NotEqual(0, InputFiles.Lines(stream).Sum(line => line.Length));
        }

        return Task.CompletedTask;
    }

    /// <summary>Repeats a recording until it spans a year, each time later and after one more restart of the unit.</summary>
    /// <returns>How many messages it has then.</returns>
    private int Lengthen(string origin)
    {
        var folder = Directory.CreateDirectory(Path.Combine(shell.Folder, Path.GetFileName(origin))).FullName;
        File.Copy(Path.Combine(origin, "site.json"), Path.Combine(folder, "site.json"));
        using var packed = new StreamReader(new GZipStream(File.OpenRead(Path.Combine(origin, "recording.jsonl.gz")), CompressionMode.Decompress));
        var lines = packed.ReadToEnd().Split('\n', StringSplitOptions.RemoveEmptyEntries).Select(line => JsonNode.Parse(line)!).ToList();
        var times = lines.ConvertAll(line => (Received: TimeOf(line["received"]!), At: TimeOf(line["payload"]!["at"]!), Boot: (long)line["payload"]!["boot"]!));
        var span = Math.Ceiling((times.Max(t => t.At) - times[0].At).TotalDays);
        using var year = new StreamWriter(Path.Combine(folder, "recording.jsonl"));
        var count = 0;
        for (var round = 0; round * span < Days; round++)
        {
            for (var i = 0; i < lines.Count; i++, count++)
            {
                lines[i]["received"] = TextOf(times[i].Received.AddDays(round * span));
                lines[i]["payload"]!["at"] = TextOf(times[i].At.AddDays(round * span));
                lines[i]["payload"]!["boot"] = times[i].Boot + (100 * round);
                year.Write(lines[i].ToJsonString() + "\n");
            }
        }

        return count;
    }

    private static DateTimeOffset TimeOf(JsonNode time) => DateTimeOffset.Parse((string)time!, CultureInfo.InvariantCulture);

    private static string TextOf(DateTimeOffset time) => time.UtcDateTime.ToString("yyyy-MM-dd'T'HH:mm:ss.fff'Z'", CultureInfo.InvariantCulture);
}
