using System.Collections.Concurrent;
using System.Globalization;
using TankWatch.Core.Replaying;
using TankWatch.Core.Sites;

namespace TankWatch.Service.Commands;

/// <summary>Replays many sites, each with a folder of its own, over several processors. Of each of them one recording is in memory at a time.</summary>
internal static class ReplayFolders
{
    private const string SiteName = "site.json", RecordingName = "recording.jsonl", ResultName = "result.json";

    /// <param name="Path">Where it is.</param>
    /// <param name="Name">Its own.</param>
    /// <param name="Bytes">Of its recording.</param>
    private sealed record Folder(string Path, string Name, long Bytes);

    /// <summary>What became of one folder.</summary>
    /// <param name="Exit">As if it had been replayed alone.</param>
    /// <param name="Messages">Taken.</param>
    /// <param name="Said">One line for people; null when there is nothing to say.</param>
    private sealed record Outcome(int Exit, int Messages, string? Said);

    /// <param name="terminal">Gets one line for each bad folder, and one at the end.</param>
    /// <param name="parent">Of the folders.</param>
    /// <param name="cores">At least 1.</param>
    /// <param name="stop">Ends the work: folders that are not done stay as they were.</param>
    public static async Task<int> RunAsync(Terminal terminal, string parent, int cores, CancellationToken stop)
    {
        List<Folder> folders;
        try
        {
            folders = [.. Directory.EnumerateDirectories(parent).Order(StringComparer.Ordinal).Where(HoldsSite).Select(FolderOf)];
        }
        catch (Exception e) when (InputFiles.IsFileTrouble(e))
        {
            return terminal.Refuse($"The folder '{parent}' cannot be read: {InputFiles.Why(e)}.");
        }

        if (folders.Count == 0)
        {
            return terminal.Refuse($"No folder in '{parent}' holds {SiteName} and {RecordingName}.");
        }

        var began = TimeProvider.System.GetTimestamp();
        var outcomes = await terminal.WithProgressAsync(
            $"Replaying {Words.Count(folders.Count, "site")}", progress => Task.Run(() => RunAll(folders, cores, progress, stop)));
        return Tell(terminal, folders, outcomes, TimeProvider.System.GetElapsedTime(began));
    }

    private static bool HoldsSite(string path) => File.Exists(Path.Combine(path, SiteName)) || File.Exists(Path.Combine(path, RecordingName));

    private static Folder FolderOf(string path)
    {
        var recording = new FileInfo(Path.Combine(path, RecordingName));
        return new(path, Path.GetFileName(path), recording.Exists ? recording.Length : 0);
    }

    /// <returns>Of each folder that was done before the end was asked for.</returns>
    private static ConcurrentDictionary<Folder, Outcome> RunAll(List<Folder> folders, int cores, Action<double> progress, CancellationToken stop)
    {
        var outcomes = new ConcurrentDictionary<Folder, Outcome>();
        var (total, done) = (Math.Max(1.0, folders.Sum(f => f.Bytes)), 0L);

        // The longest first, one at a time: no processor is left with a long one at the end while the others rest.
        var queue = Partitioner.Create(folders.OrderByDescending(f => f.Bytes), EnumerablePartitionerOptions.NoBuffering);
        try
        {
            Parallel.ForEach(queue, new ParallelOptions { MaxDegreeOfParallelism = cores, CancellationToken = stop }, folder =>
            {
                var own = 0L;
                outcomes[folder] = Run(folder, share => Report((long)(share * folder.Bytes)), stop);
                Report(folder.Bytes);

                void Report(long bytes)
                {
                    stop.ThrowIfCancellationRequested();
                    progress(Interlocked.Add(ref done, bytes - own) / total);
                    own = bytes;
                }
            });
        }
        catch (OperationCanceledException)
        {
            // What is done is done and told; the rest is as it was.
        }

        return outcomes;
    }

    private static Outcome Run(Folder folder, Action<double> progress, CancellationToken stop)
    {
        try
        {
            var site = SiteFile.Parse(InputFiles.ReadAsync(Path.Combine(folder.Path, SiteName), SiteFile.MaxBytes, stop).GetAwaiter().GetResult());
            if (site.Plan is not { } plan)
            {
                return new(ExitCode.BadInput, 0, $"{SiteName}: {site.Faults[0]}{AndMore(site.Faults.Length)}");
            }

            var recording = ReplayCommand.Read(Path.Combine(folder.Path, RecordingName), plan, share => progress(share / 2));
            var result = ReplayCommand.Judge(plan, recording, share => progress((1 + share) / 2));
            return Write(result, Path.Combine(folder.Path, ResultName)) is { } fault
                ? new(ExitCode.Failure, 0, fault)
                : new(ExitCode.Success, result.Messages, recording.Refused is [var first, ..]
                    ? $"{RecordingName}: line {first.Line}: {first.Detail}{AndMore(recording.Refused.Count)}" : null);
        }
        catch (Exception e) when (InputFiles.IsFileTrouble(e))
        {
            var name = e is FileNotFoundException { FileName: { } missing } ? Path.GetFileName(missing) : RecordingName;
            return new(ExitCode.BadInput, 0, $"{name} cannot be read: {InputFiles.Why(e)}.");
        }
    }

    private static string AndMore(int count) => count > 1 ? $" (and {count - 1} more)" : "";

    /// <returns>Why it could not be written; there is then no half of it.</returns>
    private static string? Write(ReplayResult result, string target)
    {
        var part = $"{target}.{Path.GetRandomFileName()}.part";
        try
        {
            using (var stream = new FileStream(part, FileMode.CreateNew))
            {
                ResultJson.Write(stream, result);
                stream.WriteByte((byte)'\n');
            }

            File.Move(part, target, overwrite: true);
            return null;
        }
        catch (Exception e) when (InputFiles.IsFileTrouble(e))
        {
            File.Delete(part);
            return $"{ResultName} cannot be written: {InputFiles.Why(e)}.";
        }
    }

    private static int Tell(Terminal terminal, List<Folder> folders, ConcurrentDictionary<Folder, Outcome> outcomes, TimeSpan took)
    {
        foreach (var folder in folders)
        {
            if (outcomes.TryGetValue(folder, out var outcome) && outcome.Said is { } said)
            {
                terminal.Tell($"{folder.Name}: {said}");
            }
        }

        var good = outcomes.Values.Where(o => o.Exit == ExitCode.Success).ToList();
        var messages = good.Sum(o => (long)o.Messages);
        var rate = string.Create(CultureInfo.InvariantCulture, $"{messages / Math.Max(took.TotalSeconds, 1e-3):0} messages/s");
        terminal.Out.WriteLine($"{Words.Count(good.Count, "site")}, {Words.Count(messages, "message")}, {Words.Seconds(took)}, {rate}");
        if (outcomes.Count < folders.Count)
        {
            return terminal.Fail($"Ended early: {Words.Count(folders.Count - outcomes.Count, "site")} not judged.");
        }

        return outcomes.Values.Any(o => o.Exit == ExitCode.Failure) ? ExitCode.Failure
            : good.Count < folders.Count ? ExitCode.BadInput : ExitCode.Success;
    }
}
