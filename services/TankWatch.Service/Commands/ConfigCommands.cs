using System.CommandLine;
using TankWatch.Service.Configuration;

namespace TankWatch.Service.Commands;

/// <summary><c>config check</c>.</summary>
internal static class ConfigCommands
{
    public static Command Create(Terminal terminal, IReadOnlyDictionary<string, string> flags)
    {
        var check = new Command("check", "Says every fault of the configuration at once, each with its key and its environment name.");
        check.SetAction(async (_, _) =>
        {
            var read = SettingsReader.Read(flags);
            if (!read.IsSound)
            {
                return TellFaults(terminal, read);
            }

            await terminal.Out.WriteLineAsync("The configuration has no fault.");
            return ExitCode.Success;
        });
        return new("config", "Looks at the configuration that serve would start with.") { check };
    }

    public static int TellFaults(Terminal terminal, SettingsRead read)
    {
        foreach (var fault in read.Faults)
        {
            terminal.Tell(fault.ToString());
        }

        return ExitCode.BadInput;
    }
}
