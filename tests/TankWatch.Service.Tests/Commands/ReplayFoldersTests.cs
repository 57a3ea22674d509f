using TankWatch.Service.Commands;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Commands;

public sealed class ReplayFoldersTests : IDisposable
{
    private readonly Shell shell = new();

    public void Dispose() => shell.Dispose();

    [Theory]
    [InlineData(1)]
    [InlineData(4)]
    public async Task Each_folder_gets_the_result_that_it_gets_alone(int cores)
    {
        foreach (var i in Enumerable.Range(1, 7))
        {
            Site($"s{i}", messages: i * 40);
        }

        Directory.CreateDirectory(Path.Combine(shell.Folder, "empty"));
        var ran = (await Shell.RunAsync("replay", "--folders", shell.Folder, "--cores", $"{cores}")).Succeeded();
        Assert.Matches(@"^7 sites, 1120 messages, \d+\.\d s, \d+ messages/s$", Assert.Single(ran.OutLines));
        foreach (var i in Enumerable.Range(1, 7))
        {
            var folder = Path.Combine(shell.Folder, $"s{i}");
            var alone = await Shell.RunAsync(
                "replay", "--site", Path.Combine(folder, "site.json"), "--recording", Path.Combine(folder, "recording.jsonl"));
            Assert.Equal(alone.Succeeded().Out, Result($"s{i}"));
            Assert.Equal(3, Directory.GetFiles(folder).Length);
        }

        Assert.Empty(Directory.GetFiles(Path.Combine(shell.Folder, "empty")));
    }

    [Fact]
    public async Task Bad_folders_are_named_in_one_line_each_and_the_others_are_judged()
    {
        Site("a-good", messages: 5);
        Site("b-bad-site", messages: 5);
        shell.Write("b-bad-site/site.json", "{}");
        Site("c-without-recording", messages: 5);
        File.Delete(Path.Combine(shell.Folder, "c-without-recording", "recording.jsonl"));
        Site("d-bad-lines", messages: 5);
        File.AppendAllText(Path.Combine(shell.Folder, "d-bad-lines", "recording.jsonl"), "x\ny\n");
        var ran = await Shell.RunAsync("replay", "--folders", shell.Folder);
        Assert.Equal(2, ran.Exit);
        Assert.StartsWith("2 sites, 10 messages, ", Assert.Single(ran.OutLines), StringComparison.Ordinal);
        Assert.Collection(
            ran.ErrorLines,
            line => Assert.StartsWith("b-bad-site: site.json: $", line, StringComparison.Ordinal),
            line => Assert.Equal("c-without-recording: recording.jsonl cannot be read: it does not exist.", line),
            line => Assert.Equal("d-bad-lines: recording.jsonl: line 6: not JSON, at byte 1 (and 1 more)", line));
        Assert.False(File.Exists(Path.Combine(shell.Folder, "b-bad-site", "result.json")));
    }

    [Fact]
    public async Task A_result_that_cannot_be_written_is_failed_work_and_leaves_no_half_of_it()
    {
        Site("s1", messages: 5);
        Site("s2", messages: 5);
        Directory.CreateDirectory(Path.Combine(shell.Folder, "s1", "result.json"));
        var ran = await Shell.RunAsync("replay", "--folders", shell.Folder);
        Assert.Equal(1, ran.Exit);
        Assert.StartsWith("s1: result.json cannot be written", Assert.Single(ran.ErrorLines), StringComparison.Ordinal);
        Assert.Equal(["recording.jsonl", "site.json"], Directory.GetFiles(Path.Combine(shell.Folder, "s1")).Select(Path.GetFileName).Order());
        Assert.NotEqual("", Result("s2"));
    }

    [Fact]
    public async Task A_run_that_is_ended_leaves_old_results_and_no_halves_and_says_how_many_sites_it_has_not_judged()
    {
        Site("s1", messages: 5000);
        Site("s2", messages: 5);
        shell.Write("s1/result.json", "as before");
        shell.Write("s2/result.json", "as before");
        using var ending = new CancellationTokenSource();
        await ending.CancelAsync();
        using var error = new StringWriter();
        var exit = await ReplayFolders.RunAsync(new(TextWriter.Null, error, Watched: false), shell.Folder, cores: 2, ending.Token);
        Assert.Equal((1, "Ended early: 2 sites not judged."), (exit, error.ToString().Trim()));
        Assert.Equal(("as before", "as before"), (Result("s1"), Result("s2")));
        Assert.Equal(6, Directory.GetFiles(shell.Folder, "*", SearchOption.AllDirectories).Length);
    }

    [Fact]
    public async Task What_does_not_fit_together_is_refused_in_one_line()
    {
        (await Shell.RunAsync("replay")).RefusedInOneLine("--site");
        (await Shell.RunAsync("replay", "--site", "s")).RefusedInOneLine("--recording");
        (await Shell.RunAsync("replay", "--folders", shell.Folder, "--site", "s")).RefusedInOneLine("--site", "--folders");
        (await Shell.RunAsync("replay", "--folders", shell.Folder, "--explain")).RefusedInOneLine("--explain", "--folders");
        (await Shell.RunAsync("replay", "--folders", shell.Folder, "--cores", "0")).RefusedInOneLine("--cores");
        (await Shell.RunAsync("replay", "--folders", Path.Combine(shell.Folder, "missing"))).RefusedInOneLine("missing", "does not exist");
        (await Shell.RunAsync("replay", "--folders", shell.Folder)).RefusedInOneLine("site.json");
    }

    private void Site(string name, int messages)
    {
        Directory.CreateDirectory(Path.Combine(shell.Folder, name));
        shell.Write($"{name}/site.json", SampleSite.Json());
        shell.Write($"{name}/recording.jsonl", string.Concat(Enumerable.Range(0, messages).Select(i =>
        {
            var at = Rig.Noon.AddMinutes(30 * i);
            var level = SampleSite.Level(at, "roof", (i % 4) switch { 0 => "111", 2 => "100", _ => "110" }, i);
            return $$"""{"received":"{{SampleSite.At(at)}}","topic":"tankwatch/v1/fu-1/level","payload":{{level}}}""" + "\n";
        })));
    }

    private string Result(string folder) => File.ReadAllText(Path.Combine(shell.Folder, folder, "result.json"));
}
