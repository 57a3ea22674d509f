using System.CommandLine;
using System.Globalization;
using MQTTnet.Exceptions;
using TankWatch.Service.Load;

namespace TankWatch.Service.Commands;

/// <summary><c>load</c>: simulated units at a rate against any broker, and how long their acknowledgements take.</summary>
internal static class LoadCommand
{
    public static Command Create(Terminal terminal)
    {
        var host = new Option<string>("--host") { Description = "The broker.", DefaultValueFactory = _ => "127.0.0.1", HelpName = "H" };
        var port = Number("--port", 1883, 1, 65535, "Its port.");
        var rate = Number("--rate", 1000, 0, 1_000_000, "Messages per second over all units; 0 is as fast as it goes.");
        var units = Number("--units", 10, 1, 20_000, "Units, each with a connection and a topic of its own: load-00001, load-00002, …");
        var seconds = Number("--seconds", 10, 1, 86_400, "For how long messages are sent.");
        var messages = Number("--messages", int.MaxValue, 1, int.MaxValue, "Ends before the time is over when so many are sent; for a rate of 0.");
        var user = new Option<string?>("--user") { Description = "A user that may publish for all of them.", HelpName = "U" };
        var passwordFile = new Option<string?>("--password-file") { Description = "Holds the user's password.", HelpName = "F" };
        var secretsFile = new Option<string?>("--secrets-file")
        {
            Description = "Holds a line for each unit, its id and its password: each connects under its own name, as the embedded broker demands.", HelpName = "F",
        };
        var siteFiles = new Option<string?>("--site-files")
        {
            Description = "Sends nothing, and writes the site files that make a service accept these units.", HelpName = "DIR",
        };
        var command = new Command(
            "load",
            "Publishes level messages of simulated units, QoS 1, and writes the latency from when each was to be sent to its acknowledgement as JSON.")
        {
            host, port, rate, units, seconds, messages, user, passwordFile, secretsFile, siteFiles,
        };
        command.SetAction(async (parsed, stop) =>
        {
            if (parsed.GetValue(siteFiles) is { } folder)
            {
                return WriteSiteFiles(terminal, folder, parsed.GetValue(units));
            }

            string? password;
            Dictionary<string, string>? secrets;
            try
            {
                password = parsed.GetValue(passwordFile) is { } file ? (await File.ReadAllTextAsync(file, stop)).TrimEnd('\r', '\n') : null;
                secrets = parsed.GetValue(secretsFile) is { } lines ? ReadSecrets(await File.ReadAllLinesAsync(lines, stop)) : null;
            }
            catch (Exception fault) when (InputFiles.IsFileTrouble(fault))
            {
                return terminal.Refuse($"The passwords or secrets cannot be read: {InputFiles.Why(fault)}.");
            }

            return await RunAsync(terminal, new(
                parsed.GetValue(host)!, parsed.GetValue(port), parsed.GetValue(rate), parsed.GetValue(units), parsed.GetValue(seconds), parsed.GetValue(messages),
                parsed.GetValue(user), password, secrets), stop);
        });
        return command;
    }

    private static async Task<int> RunAsync(Terminal terminal, LoadOptions options, CancellationToken stop)
    {
        // The runtime's own switch, read at the first socket: answers are taken where they are noticed, which spares a third of this process's work.
        Environment.SetEnvironmentVariable("DOTNET_SYSTEM_NET_SOCKETS_INLINE_COMPLETIONS", "1");
        try
        {
            var (json, whole) = await new LoadRun(options, TimeProvider.System).RunAsync(stop);
            await terminal.Out.WriteLineAsync(json);
            return whole ? ExitCode.Success : terminal.Fail("Not every message that was sent was acknowledged.");
        }
        catch (Exception fault) when (fault is MqttCommunicationException or IOException or System.Net.Sockets.SocketException or OperationCanceledException)
        {
            return terminal.Fail($"No load could be put on {options.Host}:{options.Port}: {fault.Message.Split('\n')[0]}");
        }
    }

    private static Dictionary<string, string> ReadSecrets(string[] lines) => lines
        .Select(line => line.Split(' ', 2)).Where(words => words.Length == 2).DistinctBy(words => words[0]).ToDictionary(words => words[0], words => words[1]);

    private static int WriteSiteFiles(Terminal terminal, string folder, int count)
    {
        try
        {
            Directory.CreateDirectory(folder);
            foreach (var unit in Enumerable.Range(1, count).Select(number => new LoadUnit(number, Boot: 0)))
            {
                File.WriteAllText(Path.Combine(folder, $"{unit.Id}.json"), unit.SiteFile());
            }

            return ExitCode.Success;
        }
        catch (Exception fault) when (InputFiles.IsFileTrouble(fault))
        {
            return terminal.Fail($"The site files cannot be written to '{folder}': {InputFiles.Why(fault)}.");
        }
    }

    private static Option<int> Number(string name, int usual, int least, int most, string description) => new(name)
    {
        Description = description,
        HelpName = name[2..3].ToUpperInvariant(),
        DefaultValueFactory = _ => usual,
        CustomParser = result =>
        {
            if (int.TryParse(result.Tokens[0].Value, NumberStyles.None, CultureInfo.InvariantCulture, out var asked) && asked >= least && asked <= most)
            {
                return asked;
            }

            result.AddError($"{name} takes a whole number from {least} to {most}.");
            return usual;
        },
    };
}
