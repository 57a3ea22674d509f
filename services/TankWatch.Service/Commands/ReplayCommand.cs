using System.CommandLine;
using TankWatch.Core.Replaying;
using TankWatch.Core.Sites;

namespace TankWatch.Service.Commands;

/// <summary><c>replay</c>: the live rules over a recording, without a store, a clock or a network.</summary>
internal static class ReplayCommand
{
    private const int ProgressEvery = 1000;

    public static Command Create(Terminal terminal)
    {
        var site = new Option<string>("--site") { Description = "The site file (JSON).", Required = true, HelpName = "SITE.json" };
        var recording = new Option<string>("--recording")
        {
            Description = "The received messages (JSON Lines); - reads standard input.", Required = true, HelpName = "FILE.jsonl",
        };
        var output = new Option<string?>("--out") { Description = "Where to write the result; without it, to standard output.", HelpName = "RESULT.json" };
        var command = new Command(
            "replay",
            "Runs the same rules as the service over a recording and writes findings, runs and daily figures as JSON. "
            + "The result depends on the input alone.")
        {
            site, recording, output,
        };
        command.SetAction(async (parsed, stop) =>
        {
            var siteFile = parsed.GetValue(site)!;
            var recordingFile = parsed.GetValue(recording)!;
            if (siteFile == "-" && recordingFile == "-")
            {
                return terminal.Refuse("Standard input cannot be both the site file and the recording.");
            }

            return await SiteCommands.ReadAsync(terminal, siteFile, stop) is var (plan, _)
                ? await ReplayAsync(terminal, plan, recordingFile, parsed.GetValue(output))
                : ExitCode.BadInput;
        });
        return command;
    }

    private static async Task<int> ReplayAsync(Terminal terminal, SitePlan plan, string file, string? output)
    {
        var recording = new Recording(plan);
        try
        {
            await terminal.WithProgressAsync("Reading the recording", progress => Task.FromResult(Read(file, recording, progress)));
        }
        catch (Exception e) when (InputFiles.IsFileTrouble(e))
        {
            return terminal.Refuse($"The recording '{file}' cannot be read: {InputFiles.Why(e)}.");
        }

        foreach (var refused in recording.Refused)
        {
            terminal.Tell($"line {refused.Line}: {refused.Detail}");
        }

        var total = Math.Max(1, recording.Observations.Count);
        var result = await terminal.WithProgressAsync("Judging", progress => Task.FromResult(Replay.Run(
            plan, recording, done => ReportNowAndThen(progress, done, total))));
        return Write(terminal, result, output);
    }

    private static bool Read(string file, Recording recording, Action<double> progress)
    {
        using var stream = InputFiles.OpenRead(file);
        var lines = 0;
        foreach (var line in InputFiles.Lines(stream))
        {
            recording.Add(line);
            if (++lines % ProgressEvery == 0 && stream.CanSeek)
            {
                progress(stream.Position / (double)stream.Length);
            }
        }

        return true;
    }

    private static void ReportNowAndThen(Action<double> progress, int done, int total)
    {
        if (done % ProgressEvery == 0)
        {
            progress(done / (double)total);
        }
    }

    private static int Write(Terminal terminal, ReplayResult result, string? output)
    {
        try
        {
            // Composed first: a result that cannot be written leaves no half of a file.
            using var json = new MemoryStream();
            ResultJson.Write(json, result);
            json.WriteByte((byte)'\n');
            json.Position = 0;
            if (output is null)
            {
                terminal.Out.Write(new StreamReader(json).ReadToEnd());
                terminal.Out.Flush();
                return ExitCode.Success;
            }

            using var stream = File.Create(output);
            json.CopyTo(stream);
            return ExitCode.Success;
        }
        catch (Exception e) when (output is not null && InputFiles.IsFileTrouble(e))
        {
            return terminal.Fail($"The result '{output}' cannot be written: {InputFiles.Why(e)}.");
        }
    }
}
