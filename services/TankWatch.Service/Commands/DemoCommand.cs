using System.CommandLine;
using System.Globalization;
using TankWatch.Service.Demo;

namespace TankWatch.Service.Commands;

/// <summary><c>demo</c>.</summary>
internal static class DemoCommand
{
    public static Command Create(Terminal terminal)
    {
        var port = PortOption("--port", 8080, "Port of the pages and the API, on 127.0.0.1; 0 is any free one.", least: 0);
        var mqttPort = PortOption("--mqtt-port", 1883, "Port of the embedded broker, on 127.0.0.1.", least: 1);
        var data = new Option<string?>("--data")
        {
            Description = "Where to keep the store and the mails. Without it, a new temporary folder, deleted at the end.",
            HelpName = "DIR",
        };
        var speed = SpeedOption();
        var command = new Command(
            "demo", "Runs the whole service with simulated buildings, on this machine alone: bound to 127.0.0.1, without any login.")
        {
            port, mqttPort, speed, data,
        };
        command.SetAction((parsed, stop) =>
            DemoRun.RunAsync(new(parsed.GetValue(port), parsed.GetValue(mqttPort), parsed.GetValue(data), parsed.GetValue(speed)), terminal, stop));
        return command;
    }

    private static Option<double> SpeedOption()
    {
        const string Name = "--speed";
        var range = $"a number from {DemoClock.Slowest} to {DemoClock.Fastest}";
        return new(Name)
        {
            Description = $"How many times as fast as yours its clock runs, {range}: at 60 an hour passes in a minute.",
            HelpName = "N",
            DefaultValueFactory = _ => DemoClock.Slowest,
            CustomParser = result =>
            {
                if (!DemoClock.TryReadSpeed(result.Tokens[0].Value, out var asked))
                {
                    result.AddError($"{Name} takes {range}.");
                }

                return asked;
            },
        };
    }

    private static Option<int> PortOption(string name, int usual, string description, int least)
    {
        var option = new Option<int>(name)
        {
            Description = description,
            HelpName = "PORT",
            DefaultValueFactory = _ => usual,
            CustomParser = result =>
            {
                if (int.TryParse(result.Tokens[0].Value, NumberStyles.None, CultureInfo.InvariantCulture, out var asked) && asked >= least && asked <= 65535)
                {
                    return asked;
                }

                result.AddError($"{name} takes a port, a whole number from {least} to 65535.");
                return usual;
            },
        };
        return option;
    }
}
