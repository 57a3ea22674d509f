using System.CommandLine;
using System.Globalization;
using TankWatch.Core.Replaying;
using TankWatch.Core.Sites;

namespace TankWatch.Service.Commands;

/// <summary><c>replay</c>: the live rules over a recording, without a store, a clock or a network.</summary>
internal static class ReplayCommand
{
    private const int ProgressEvery = 1000;

    public static Command Create(Terminal terminal)
    {
        var site = new Option<string?>("--site") { Description = "The site file (JSON).", HelpName = "SITE.json" };
        var recording = new Option<string?>("--recording") { Description = "The received messages (JSON Lines); - reads standard input.", HelpName = "FILE.jsonl" };
        var output = new Option<string?>("--out") { Description = "Where to write the result; without it, to standard output.", HelpName = "RESULT.json" };
        var explain = new Option<bool>("--explain")
        {
            Description = "Prints what each finding rests on, to standard output, or to standard error when the result goes to standard output.",
        };
        var folders = new Option<string?>("--folders")
        {
            Description = "Instead of one site, every folder in DIR with site.json and recording.jsonl; result.json is written beside them.", HelpName = "DIR",
        };
        var cores = CoresOption();
        var command = new Command(
            "replay",
            "Runs the same rules as the service over a recording and writes findings, runs and daily figures as JSON. "
            + "The result depends on the input alone.")
        {
            site, recording, output, explain, folders, cores,
        };
        command.Validators.Add(result =>
        {
            Option[] ofOne = [site, recording, output, explain];
            if (result.GetResult(folders) is not null)
            {
                if (ofOne.FirstOrDefault(o => result.GetResult(o) is { Implicit: false }) is { } odd)
                {
                    result.AddError($"Option '{odd.Name}' is for one site, and '{folders.Name}' for many.");
                }
            }
            else if (ofOne[..2].FirstOrDefault(o => result.GetResult(o) is null) is { } missing)
            {
                result.AddError($"Option '{missing.Name}' is required.");
            }
        });
        command.SetAction(async (parsed, stop) =>
        {
            if (parsed.GetValue(folders) is { } parent)
            {
                using var ending = new Ending();
                return await ReplayFolders.RunAsync(terminal, parent, parsed.GetValue(cores), ending.Token);
            }

            var siteFile = parsed.GetValue(site)!;
            var recordingFile = parsed.GetValue(recording)!;
            if (siteFile == "-" && recordingFile == "-")
            {
                return terminal.Refuse("Standard input cannot be both the site file and the recording.");
            }

            return await SiteCommands.ReadAsync(terminal, siteFile, stop) is var (plan, _)
                ? await ReplayAsync(terminal, plan, recordingFile, parsed.GetValue(output), parsed.GetValue(explain))
                : ExitCode.BadInput;
        });
        return command;
    }

    private static Option<int> CoresOption() => new("--cores")
    {
        Description = "How many processors share the folders; without it, all.",
        HelpName = "N",
        DefaultValueFactory = _ => Environment.ProcessorCount,
        CustomParser = result =>
        {
            const int Most = 1024;
            if (int.TryParse(result.Tokens[0].Value, NumberStyles.None, CultureInfo.InvariantCulture, out var asked) && asked is >= 1 and <= Most)
            {
                return asked;
            }

            result.AddError($"--cores takes a whole number from 1 to {Most}.");
            return 1;
        },
    };

    private static async Task<int> ReplayAsync(Terminal terminal, SitePlan plan, string file, string? output, bool explain)
    {
        Recording recording;
        try
        {
            recording = await terminal.WithProgressAsync("Reading the recording", progress => Task.FromResult(Read(file, plan, progress)));
        }
        catch (Exception e) when (InputFiles.IsFileTrouble(e))
        {
            return terminal.Refuse($"The recording '{file}' cannot be read: {InputFiles.Why(e)}.");
        }

        foreach (var refused in recording.Refused)
        {
            terminal.Tell($"line {refused.Line}: {refused.Detail}");
        }

        var result = await terminal.WithProgressAsync("Judging", progress => Task.FromResult(Judge(plan, recording, progress)));
        var exit = Write(terminal, result, output);
        if (explain && exit == ExitCode.Success)
        {
            Explanation.Write(output is null ? terminal.Error : terminal.Out, result);
        }

        return exit;
    }

    /// <param name="file">JSON Lines; - reads standard input.</param>
    /// <param name="plan">The site.</param>
    /// <param name="progress">Told the share that is read, 0 to 1, now and then.</param>
    public static Recording Read(string file, SitePlan plan, Action<double> progress)
    {
        var recording = new Recording(plan);
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

        return recording;
    }

    /// <param name="plan">The site.</param>
    /// <param name="recording">Fully read.</param>
    /// <param name="progress">Told the share that is judged, 0 to 1, now and then.</param>
    public static ReplayResult Judge(SitePlan plan, Recording recording, Action<double> progress)
    {
        var total = Math.Max(1, recording.Observations.Count);
        return Replay.Run(plan, recording, done => ReportNowAndThen(progress, done, total));
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
