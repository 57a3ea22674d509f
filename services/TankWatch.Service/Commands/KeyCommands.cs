using System.CommandLine;
using TankWatch.Core;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Commands;

/// <summary><c>key add</c> and <c>key revoke</c>: keys for the API and, until accounts exist, for the pages.</summary>
internal static class KeyCommands
{
    public static Command Create(Terminal terminal) => new("key", "Makes and takes back API keys.") { Add(terminal), Revoke(terminal) };

    private static Command Add(Terminal terminal)
    {
        var name = NameArgument();
        var role = new Option<string>("--role") { Description = "What the holder may do.", Required = true };
        role.AcceptOnlyFromAmong([.. LedgerStore.Roles]);
        var site = new Option<string?>("--site") { Description = "The key sees this site alone; without it, every site.", HelpName = "ID" };
        var data = StoreAccess.DataOption();
        var command = new Command("add", "Makes an API key, shown once, alone on the last line of standard output.") { name, role, site, data };
        command.SetAction((parsed, _) => StoreAccess.WithLedgerAsync(terminal, parsed.GetValue(data), async ledger =>
        {
            var scope = parsed.GetValue(site) is { } id ? new SiteId(id) : (SiteId?)null;
            var added = ledger.AddKey(parsed.GetValue(name)!, parsed.GetValue(role)!, scope);
            if (added.Secret is not { } secret)
            {
                return terminal.Refuse(added.Fault!);
            }

            await terminal.Out.WriteLineAsync("The key, shown this once:");
            await terminal.Out.WriteLineAsync(secret);
            return ExitCode.Success;
        }));
        return command;
    }

    private static Command Revoke(Terminal terminal)
    {
        var (name, data) = (NameArgument(), StoreAccess.DataOption());
        var command = new Command("revoke", "Takes an API key back at once.") { name, data };
        command.SetAction((parsed, _) => StoreAccess.WithLedgerAsync(terminal, parsed.GetValue(data), async ledger =>
        {
            var key = parsed.GetValue(name)!;
            if (!ledger.RevokeKey(key))
            {
                return terminal.Refuse($"There is no key '{key}' in force.");
            }

            await terminal.Out.WriteLineAsync($"{key}: revoked.");
            return ExitCode.Success;
        }));
        return command;
    }

    private static Argument<string> NameArgument()
    {
        var argument = new Argument<string>("NAME") { Description = "Names the key, such as its holder; it stands beside what the holder does." };
        argument.Validators.Add(result =>
        {
            if (!IdRule.Holds(result.GetValueOrDefault<string>()))
            {
                result.AddError($"A key's name is {IdRule.InWords}");
            }
        });
        return argument;
    }
}
