using System.IO.Compression;
using System.Text.Json;
using Json.Schema;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Commands;

public sealed class ReplayCommandTests : IDisposable
{
    private static readonly Lazy<JsonSchema> Schema = new(() =>
        JsonSchema.FromText(File.ReadAllText(Path.Combine(AppContext.BaseDirectory, "Schemas", "replay-result.schema.json"))));

    private readonly Shell shell = new();

    public void Dispose() => shell.Dispose();

    [Fact]
    public async Task The_result_fits_its_published_schema_and_is_the_same_byte_for_byte_each_time()
    {
        string[] replay = ["replay", "--site", Recorded("site.json"), "--recording", Unpacked(lines: 20_000)];
        var first = (await Shell.RunAsync(replay)).Succeeded().Out;
        Assert.Equal(first, (await Shell.RunAsync(replay)).Succeeded().Out);
        var file = Path.Combine(shell.Folder, "result.json");
        Assert.Equal("", (await Shell.RunAsync([.. replay, "--out", file])).Succeeded().Out);
        Assert.Equal(first, await File.ReadAllTextAsync(file, TestContext.Current.CancellationToken));

        var result = Valid(first);
        Assert.Equal(0, result.GetProperty("refused").GetInt32());
        Assert.Contains(result.GetProperty("findings").EnumerateArray(), finding => finding.GetProperty("kind").GetString() == "short-cycling");
        Assert.NotEqual(0, result.GetProperty("runs").GetArrayLength());
    }

    [Fact]
    public async Task Lines_that_cannot_be_read_are_told_with_their_number_and_counted_and_the_rest_goes_on()
    {
        var recording = shell.Write("recording.jsonl", string.Join('\n',
            Line(Rig.Noon, "level", SampleSite.Level(Rig.Noon, "roof", "100", 1)),
            "{ this is not JSON",
            "",
            Line(Rig.Noon, "weather", "{}"),
            Line(Rig.Noon, "level", """{"tank":"roof","wet":"yes"}"""),
            Line(Rig.Noon, "level", "{}", unit: "fu-9"),
            """{"topic":"tankwatch/v1/fu-1/level","payload":{"tank":"roof","wet":[true,false,false]}}""",
            $"{{\"topic\":\"tankwatch/v1/fu-1/level\",\"payload\":{SampleSite.Level(Rig.Noon.AddMinutes(1), "roof", "110", 2)}}}",
            Line(Rig.Noon.AddMinutes(2), "level", $"[{SampleSite.Level(Rig.Noon.AddMinutes(2), "roof", "111", 3)},7]")));
        var ran = await ReplayAsync(recording);
        Assert.Equal(0, ran.Exit);
        Assert.Equal([2, 4, 5, 6, 7, 9], ran.ErrorLines.Select(NumberOf));
        var result = Valid(ran.Out);
        Assert.Equal((6, 3), (result.GetProperty("refused").GetInt32(), result.GetProperty("messages").GetInt32()));

        static int NumberOf(string line) => int.Parse(line["line ".Length..line.IndexOf(':', StringComparison.Ordinal)], System.Globalization.CultureInfo.InvariantCulture);
    }

    [Theory]
    [InlineData("")]
    [InlineData("\n\n\n")]
    [InlineData("\uFEFF")]
    public async Task An_empty_recording_has_an_empty_result(string text)
    {
        var result = Valid((await ReplayAsync(shell.Write("empty.jsonl", text))).Succeeded().Out);
        Assert.Equal((0, JsonValueKind.Null), (result.GetProperty("messages").GetInt32(), result.GetProperty("from").ValueKind));
    }

    [Fact]
    public async Task A_recording_that_cannot_be_read_is_one_line()
    {
        (await ReplayAsync(Path.Combine(shell.Folder, "missing.jsonl"))).RefusedInOneLine("missing.jsonl", "does not exist");
        (await ReplayAsync(shell.Folder)).RefusedInOneLine("folder");
    }

    [Fact]
    public async Task A_site_file_that_cannot_be_used_stops_it()
    {
        var recording = shell.Write("empty.jsonl", "");
        (await Shell.RunAsync("replay", "--site", Path.Combine(shell.Folder, "missing.json"), "--recording", recording)).RefusedInOneLine("missing.json");
        (await Shell.RunAsync("replay", "--site", shell.Write("site.json", "{"), "--recording", recording)).RefusedInOneLine("$");
        (await Shell.RunAsync("replay", "--site", "-", "--recording", "-")).RefusedInOneLine("both");
    }

    [Fact]
    public async Task A_result_that_cannot_be_written_is_failed_work_and_leaves_nothing()
    {
        var target = Path.Combine(shell.Folder, "no-such-folder", "result.json");
        var ran = await Shell.RunAsync(
            "replay", "--site", shell.Write("site.json", SampleSite.Json()), "--recording", shell.Write("empty.jsonl", ""), "--out", target);
        Assert.Equal((1, ""), (ran.Exit, ran.Out));
        Assert.Contains("result.json", Assert.Single(ran.ErrorLines), StringComparison.Ordinal);
    }

    [Fact]
    public async Task Explained_findings_are_wrapped_text_in_the_time_of_the_site()
    {
        string[] replay = ["replay", "--site", Recorded("site.json"), "--recording", Unpacked(lines: 20_000)];
        var result = Valid((await Shell.RunAsync(replay)).Succeeded().Out);
        var ran = (await Shell.RunAsync([.. replay, "--explain", "--out", Path.Combine(shell.Folder, "result.json")])).Succeeded();
        Assert.All(ran.OutLines, line => Assert.InRange(line.Length, 1, 100));
        Assert.Equal("o10-short-cycling: 1 finding. Times are of Asia/Kolkata.", ran.OutLines[0]);
        Assert.Equal("short-cycling of p1 (high)", ran.OutLines[1]);
        var finding = Assert.Single(result.GetProperty("findings").EnumerateArray());
        Assert.StartsWith($"  since {Local(finding.GetProperty("since"))}, raised {Local(finding.GetProperty("raisedAt"))}, not cleared", ran.OutLines[2], StringComparison.Ordinal);
        var words = string.Join(' ', ran.Out.Split((char[]?)null, StringSplitOptions.RemoveEmptyEntries));
        Assert.Contains("Causes: - probes-too-close 90 %", words, StringComparison.Ordinal);
        Assert.Contains(finding.GetProperty("summary").GetString()!, words, StringComparison.Ordinal);
        Assert.All(
            finding.GetProperty("evidence").EnumerateArray().Concat(finding.GetProperty("advice").EnumerateArray()),
            line => Assert.Contains($"- {line.GetString()}", words, StringComparison.Ordinal));

        static string Local(JsonElement time) => TimeZoneInfo.ConvertTime(time.GetDateTimeOffset(), TimeZoneInfo.FindSystemTimeZoneById("Asia/Kolkata"))
            .ToString("d MMM yyyy HH:mm:ss", System.Globalization.CultureInfo.InvariantCulture);
    }

    [Fact]
    public async Task Explanations_leave_standard_output_to_a_result_that_goes_there()
    {
        string[] replay = ["replay", "--site", shell.Write("site.json", SampleSite.Json()), "--recording", shell.Write("empty.jsonl", "")];
        var ran = await Shell.RunAsync([.. replay, "--explain"]);
        Assert.Equal((await Shell.RunAsync(replay)).Out, ran.Out);
        Assert.Contains("no finding", Assert.Single(ran.ErrorLines), StringComparison.Ordinal);
    }

    [Fact]
    public async Task Members_are_read_whatever_their_order_and_escapes()
    {
        var at = SampleSite.At(Rig.Noon);
        var recording = shell.Write("recording.jsonl", $$$"""
            { "payload" : {{{SampleSite.Level(Rig.Noon, "roof", "100", 1)}}}, "note":{"topic":[1,{"payload":2}]}, "topic":"tankwatch/v1/fu-1/level", "received":"{{{at}}}" }
            {"topic":"tankwatch/v1/fu-9/level","to\u0070ic":"tankwatch\/v1/fu-1/level","received":"{{{at}}}","payload":{{{SampleSite.Level(Rig.Noon, "roof", "110", 2)}}}}
            {"topic":"tankwatch/v1/h\u00e4user/level","received":"{{{at}}}","payload":{}}
            {"topic":"tankwatch/v1/fu-1/level","received":"{{{at}}}","payload":{}} {}
            """);
        var ran = await ReplayAsync(recording);
        Assert.Equal(2, Valid(ran.Out).GetProperty("messages").GetInt32());
        Assert.Equal(["line 3: the unit's id is not 1 to 64 of A-Z a-z 0-9 . _ -, and neither . nor ..", "line 4: not JSON"], ran.ErrorLines.Select(l => l.Split(", at byte")[0]));
    }

    private Task<Ran> ReplayAsync(string recording) =>
        Shell.RunAsync("replay", "--site", shell.Write("site.json", SampleSite.Json()), "--recording", recording);

    private static string Line(DateTimeOffset received, string kind, string payload, string unit = "fu-1") =>
        $$$"""{"received":"{{{SampleSite.At(received)}}}","topic":"tankwatch/v1/{{{unit}}}/{{{kind}}}","payload":{{{payload}}}}""";

    private static string Recorded(string file) => Path.Combine(AppContext.BaseDirectory, "Data", "hydraulics", "o10_short_cycling", file);

    /// <summary>The first lines of the recording that an independent hydraulic solver made.</summary>
    private string Unpacked(int lines)
    {
        using var reader = new StreamReader(new GZipStream(File.OpenRead(Recorded("recording.jsonl.gz")), CompressionMode.Decompress));
        var text = new List<string>();
        while (text.Count < lines && reader.ReadLine() is { } line)
        {
            text.Add(line);
        }

        return shell.Write("recording.jsonl", string.Join('\n', text));
    }

    private static JsonElement Valid(string json)
    {
        var result = JsonSerializer.Deserialize<JsonElement>(json);
        var outcome = Schema.Value.Evaluate(result, new EvaluationOptions { OutputFormat = OutputFormat.List });
        Assert.True(outcome.IsValid, string.Join("; ", (outcome.Details ?? []).Where(d => d.Errors is not null).Select(d => $"{d.InstanceLocation}: {string.Join(", ", d.Errors!.Values)}")));
        return result;
    }
}
