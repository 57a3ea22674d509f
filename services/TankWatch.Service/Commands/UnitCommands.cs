using System.CommandLine;
using TankWatch.Core;

namespace TankWatch.Service.Commands;

/// <summary><c>unit add</c> and <c>unit revoke</c>: credentials that the embedded broker demands of field units.</summary>
internal static class UnitCommands
{
    public static Command Create(Terminal terminal) => new("unit", "Makes and takes back the credentials of field units.")
    {
        Add(terminal), Revoke(terminal),
    };

    private static Command Add(Terminal terminal)
    {
        var id = UnitArgument();
        var site = new Option<string>("--site") { Description = "The site that the unit is part of.", Required = true, HelpName = "SITE" };
        var data = StoreAccess.DataOption();
        var command = new Command(
            "add", "Makes a field unit's password, shown once as the last line of standard output. The unit's id is its user name.") { id, site, data };
        command.SetAction((parsed, _) => StoreAccess.WithLedgerAsync(terminal, parsed.GetValue(data), async ledger =>
        {
            var added = ledger.AddUnit(new UnitId(parsed.GetValue(id)!), new SiteId(parsed.GetValue(site)!));
            if (added.Secret is not { } secret)
            {
                return terminal.Refuse(added.Fault!);
            }

            await terminal.Out.WriteLineAsync("The unit's password, shown this once:");
            await terminal.Out.WriteLineAsync(secret);
            return ExitCode.Success;
        }));
        return command;
    }

    private static Command Revoke(Terminal terminal)
    {
        var (id, data) = (UnitArgument(), StoreAccess.DataOption());
        var command = new Command("revoke", "Takes a field unit's password back; the embedded broker no longer lets it in.") { id, data };
        command.SetAction((parsed, _) => StoreAccess.WithLedgerAsync(terminal, parsed.GetValue(data), async ledger =>
        {
            var unit = parsed.GetValue(id)!;
            if (!ledger.RevokeUnit(new UnitId(unit)))
            {
                return terminal.Refuse($"There is no unit '{unit}' with a password.");
            }

            await terminal.Out.WriteLineAsync($"{unit}: revoked.");
            return ExitCode.Success;
        }));
        return command;
    }

    private static Argument<string> UnitArgument()
    {
        var argument = new Argument<string>("ID") { Description = "The field unit's id: 1 to 64 of A-Z a-z 0-9 . _ -" };
        argument.Validators.Add(result =>
        {
            if (!IdRule.Holds(result.GetValueOrDefault<string>()))
            {
                result.AddError($"A unit's id is {IdRule.InWords}");
            }
        });
        return argument;
    }
}
