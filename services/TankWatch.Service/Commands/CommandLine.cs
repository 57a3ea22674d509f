using System.CommandLine;
using System.CommandLine.Help;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Commands;

/// <summary>The commands of the program. A wrong command line is one line on standard error and exit code 2.</summary>
public static class CommandLine
{
    public static async Task<int> RunAsync(IReadOnlyList<string> args, Terminal terminal)
    {
        var flags = TakesSettings(args) ? SettingFlags.Of(args) : new(args, new Dictionary<string, string>(), null);
        if (flags.Fault is { } fault)
        {
            return terminal.Refuse(fault);
        }

        var parsed = Root(terminal, flags.Settings).Parse(flags.Rest, new ParserConfiguration
        {
            EnablePosixBundling = false,
            ResponseFileTokenReplacer = null, // A value that begins with @ is a value.
        });
        if (parsed.Errors.Count > 0 && parsed.Action is not HelpAction)
        {
            return terminal.Refuse($"{WhatIsWrong(parsed)} See tankwatch --help.");
        }

        try
        {
            return await parsed.InvokeAsync(new InvocationConfiguration
            {
                Output = terminal.Out,
                Error = terminal.Error,
                EnableDefaultExceptionHandler = false,
                ProcessTerminationTimeout = null, // The host drains on SIGTERM by itself; other commands may simply end.
            });
        }
        catch (Exception e)
        {
            // The outermost edge: whatever it is, a person gets one line and a script an exit code.
            return terminal.Fail(e is StoreException ? e.Message : $"This did not work: {e.Message.Split('\n')[0]}");
        }
    }

    private static RootCommand Root(Terminal terminal, IReadOnlyDictionary<string, string> settings) => new(
        "TankWatch follows the water tanks and pumps of buildings and says in plain words what is wrong. It only observes.")
    {
        DemoCommand.Create(terminal),
        ServeCommand.Create(terminal, settings),
        ReplayCommand.Create(terminal),
        SiteCommands.Create(terminal),
        UnitCommands.Create(terminal),
        KeyCommands.Create(terminal),
        WebhookCommands.Create(terminal),
        BackupCommand.Create(terminal),
        RestoreCommand.Create(terminal),
        VerifyCommand.Create(terminal),
        ConfigCommands.Create(terminal, settings),
        LoadCommand.Create(terminal),
    };

    /// <summary>One fault, and the one that names what was typed where there is one: "a command is missing" helps nobody who misspelt it.</summary>
    private static string WhatIsWrong(ParseResult parsed)
    {
        var message = parsed.UnmatchedTokens is [var first, ..] ? $"'{first}' is not known here." : parsed.Errors[0].Message;
        return message.EndsWith('.') ? message : message + ".";
    }

    private static bool TakesSettings(IReadOnlyList<string> args) => args is ["serve", ..] or ["config", ..];
}
