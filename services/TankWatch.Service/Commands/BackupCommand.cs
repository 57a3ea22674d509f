using System.CommandLine;
using TankWatch.Service.Storage;
using TankWatch.Service.Storage.Keeping;

namespace TankWatch.Service.Commands;

/// <summary><c>backup</c>: a copy of the whole store, beside a running service or without one.</summary>
internal static class BackupCommand
{
    public static Command Create(Terminal terminal)
    {
        var (file, data) = (new Argument<string>("FILE") { Description = "Where to write it; an older backup there is replaced once the new one is whole." }, StoreAccess.DataOption());
        var command = new Command(
            "backup", "Writes a copy of the whole store to one file, while the service runs or without it, and checks the copy. It holds everything: keep it as private as the store.")
        {
            file, data,
        };
        command.SetAction((parsed, _) => StoreAccess.WithStoreAsync(
            terminal, parsed.GetValue(data), database => Task.FromResult(Run(terminal, database, parsed.GetValue(file)!))));
        return command;
    }

    private static int Run(Terminal terminal, Database database, string file)
    {
        var started = TimeProvider.System.GetTimestamp();
        using var ending = new Ending();
        try
        {
            var target = Path.GetFullPath(file);
            if (BackupFile.WhyNot(database, target) is { } fault)
            {
                return terminal.Refuse($"The backup '{file}' cannot be written: {fault}.");
            }

            var made = BackupFile.Make(database, target, ending.Token);
            terminal.Out.WriteLine(
                $"{Terminal.OneLine(file)}: {Words.Size(made.Bytes)}, {Words.Count(made.Contents.Messages, "message")}, {Words.Count(made.Contents.Sites, "site")}, "
                + $"in {Words.Seconds(TimeProvider.System.GetElapsedTime(started))}");
            return ExitCode.Success;
        }
        catch (OperationCanceledException)
        {
            return terminal.Fail($"The backup '{file}' was given up; what was there is as it was.");
        }
        catch (StoreException fault)
        {
            return terminal.Fail($"The backup '{file}' was not made: {fault.Message}.");
        }
        catch (Exception e) when (InputFiles.IsFileTrouble(e))
        {
            return terminal.Refuse($"The backup '{file}' cannot be written: {InputFiles.Why(e)}.");
        }
    }
}
