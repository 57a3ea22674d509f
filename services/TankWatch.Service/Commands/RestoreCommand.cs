using System.CommandLine;
using Microsoft.Data.Sqlite;
using TankWatch.Service.Configuration;
using TankWatch.Service.Storage;
using TankWatch.Service.Storage.Keeping;

namespace TankWatch.Service.Commands;

/// <summary><c>restore</c>: a backup in the place of the whole store, beside a running service or without one.</summary>
internal static class RestoreCommand
{
    public static Command Create(Terminal terminal)
    {
        var (file, data) = (new Argument<string>("FILE") { Description = "A file that 'backup' wrote." }, StoreAccess.DataOption());
        var command = new Command(
            "restore",
            "Checks a backup and puts it in the place of the whole store, while the service runs or without it. What came after the backup was made is gone.")
        {
            file, data,
        };
        command.SetAction((parsed, _) => Task.FromResult(
            StoreAccess.Folder(terminal, parsed.GetValue(data)) is { } folder ? Run(terminal, parsed.GetValue(file)!, folder) : ExitCode.BadInput));
        return command;
    }

    private static int Run(Terminal terminal, string file, string folder)
    {
        var started = TimeProvider.System.GetTimestamp();
        using var ending = new Ending();
        try
        {
            if (Directory.Exists(file) || !File.Exists(file))
            {
                return terminal.Refuse($"The backup '{file}' cannot be read: {(Directory.Exists(file) ? "it is a folder" : "it does not exist")}.");
            }

            Directory.CreateDirectory(folder);
            using var restoring = Restoring.Prepare(file, folder);
            ending.Token.ThrowIfCancellationRequested();
            using var database = new Database(new DataOptions { Path = folder });
            var sites = database.Read(connection => (long)connection.Scalar("SELECT count(*) FROM sites")!);
            terminal.Tell($"Replacing the store in '{folder}' ({Words.Count(sites, "site")}) by '{file}': what came after that backup was made is gone.");
            ending.Token.ThrowIfCancellationRequested();
            restoring.Replace(database);
            terminal.Out.WriteLine(
                $"{Terminal.OneLine(file)}: restored, {Words.Count(restoring.Contents.Messages, "message")}, {Words.Count(restoring.Contents.Sites, "site")}, "
                + $"in {Words.Seconds(TimeProvider.System.GetElapsedTime(started))}");
            return ExitCode.Success;
        }
        catch (OperationCanceledException)
        {
            return terminal.Fail($"The restoring of '{file}' was given up. Nothing was changed.");
        }
        catch (NoBackupException fault)
        {
            return terminal.Refuse($"The backup '{file}' cannot be restored: {fault.Message}. Nothing was changed.");
        }
        catch (SqliteException fault)
        {
            return terminal.Fail(
                $"The store in '{folder}' could not be replaced: {(fault.SqliteErrorCode == SQLitePCL.raw.SQLITE_FULL ? "there is no room for it" : Database.OneLine(fault))}. Nothing was changed.");
        }
        catch (Exception e) when (InputFiles.IsFileTrouble(e))
        {
            return terminal.Refuse($"The backup '{file}' cannot be restored: {InputFiles.Why(e)}.");
        }
    }
}
