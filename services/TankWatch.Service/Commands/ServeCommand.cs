using System.CommandLine;
using TankWatch.Service.Configuration;
using TankWatch.Service.Operation;

namespace TankWatch.Service.Commands;

/// <summary><c>serve</c>.</summary>
internal static class ServeCommand
{
    public static Command Create(Terminal terminal, IReadOnlyDictionary<string, string> flags)
    {
        var command = new Command(
            "serve",
            $"Runs the service. Settings come from {SettingsReader.FileName} in the current folder, then environment variables such as "
            + $"{SettingsReader.EnvironmentPrefix}MQTT__HOST, then flags such as --Mqtt:Host NAME.");
        command.SetAction(async (_, stop) =>
        {
            var read = SettingsReader.Read(flags);
            return read.IsSound
                ? await Hosting.RunAsync(() => ServeHost.Build(read), terminal, stop)
                : ConfigCommands.TellFaults(terminal, read);
        });
        return command;
    }
}
