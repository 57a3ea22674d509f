using System.CommandLine;
using TankWatch.Service.Configuration;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Commands;

/// <summary>How the short commands reach the store: the folder that <c>serve</c> is configured with, or the one given.</summary>
internal static class StoreAccess
{
    public static Option<string?> DataOption() => new("--data")
    {
        Description = "The store's folder. Without it, Data:Path of the configuration counts, as for serve.",
        HelpName = "DIR",
    };

    /// <summary>Runs work on the ledger, beside a running service or without one.</summary>
    /// <param name="terminal">For faults.</param>
    /// <param name="data">What <c>--data</c> says, if given.</param>
    /// <param name="work">Returns the exit code.</param>
    public static async Task<int> WithLedgerAsync(Terminal terminal, string? data, Func<LedgerStore, Task<int>> work)
    {
        if (Folder(terminal, data) is not { } folder)
        {
            return ExitCode.BadInput;
        }

        using var database = new Database(new DataOptions { Path = folder });
        return await work(new LedgerStore(database, TimeProvider.System));
    }

    /// <summary>Runs work on a store that is there already, beside a running service or without one.</summary>
    /// <param name="terminal">For faults.</param>
    /// <param name="data">What <c>--data</c> says, if given.</param>
    /// <param name="work">Returns the exit code.</param>
    public static async Task<int> WithStoreAsync(Terminal terminal, string? data, Func<Database, Task<int>> work)
    {
        if (Folder(terminal, data) is not { } folder)
        {
            return ExitCode.BadInput;
        }

        if (!File.Exists(Path.Combine(folder, Database.FileName)))
        {
            return terminal.Refuse($"There is no store in '{folder}'.");
        }

        using var database = new Database(new DataOptions { Path = folder });
        return await work(database);
    }

    /// <summary>Faults of other sections are none of these commands' business.</summary>
    internal static string? Folder(Terminal terminal, string? data)
    {
        if (data is not null)
        {
            return data;
        }

        var read = SettingsReader.Read(new Dictionary<string, string>());
        var faults = read.Faults.Where(f => f.Key == SettingsReader.FileName || f.Key.StartsWith("Data", StringComparison.OrdinalIgnoreCase)).ToList();
        faults.ForEach(f => terminal.Tell(f.ToString()));
        return faults.Count == 0 ? read.Settings.Data.Path : null;
    }
}
