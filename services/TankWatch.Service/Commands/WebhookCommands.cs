using System.CommandLine;
using TankWatch.Core;
using TankWatch.Service.Configuration;
using TankWatch.Service.Storage;
using TankWatch.Service.Webhooks;

namespace TankWatch.Service.Commands;

/// <summary><c>webhook add</c>, <c>webhook list</c>, <c>webhook remove</c>: programs elsewhere that are told of events of alerts.</summary>
internal static class WebhookCommands
{
    public static Command Create(Terminal terminal) => new("webhook", "Tells programs elsewhere of events of alerts, by signed HTTP requests.")
    {
        Add(terminal), List(terminal), Remove(terminal),
    };

    private static Command Add(Terminal terminal)
    {
        var url = new Argument<string>("URL") { Description = "Where the events are posted to; begins with https://." };
        var site = new Option<string?>("--site") { Description = "Events of this site alone; without it, of every site.", HelpName = "ID" };
        var data = StoreAccess.DataOption();
        var command = new Command("add", "Adds a webhook; its secret is shown once, alone on the last line of standard output.") { url, site, data };
        command.SetAction((parsed, _) => StoreAccess.WithLedgerAsync(terminal, parsed.GetValue(data), async ledger =>
        {
            var scope = parsed.GetValue(site) is { } id ? new SiteId(id) : (SiteId?)null;
            var desk = new WebhookDesk(ledger, SettingsReader.Read(new Dictionary<string, string>()).Settings.Webhooks);
            switch (desk.Add(parsed.GetValue(url)!, scope, TimeProvider.System.GetUtcNow()))
            {
                case AddedWebhook.Added { Webhook: var hook }:
                    await terminal.Out.WriteLineAsync($"{hook.Id}: added. The secret, shown this once:");
                    await terminal.Out.WriteLineAsync(hook.Secret);
                    return ExitCode.Success;
                case AddedWebhook.BadAddress bad:
                    return terminal.Refuse(bad.Fault);
                case AddedWebhook.Refused refused:
                    return terminal.Refuse(refused.Fault);
                case var other:
                    throw new InvalidOperationException(other.ToString());
            }
        }));
        return command;
    }

    private static Command List(Terminal terminal)
    {
        var data = StoreAccess.DataOption();
        var command = new Command("list", "Lists the webhooks: id, site or *, address, and how it is.") { data };
        command.SetAction((parsed, _) => StoreAccess.WithLedgerAsync(terminal, parsed.GetValue(data), async ledger =>
        {
            foreach (var hook in ledger.ListWebhooks())
            {
                await terminal.Out.WriteLineAsync($"{hook.Id} {hook.Site?.Value ?? "*"} {hook.Url} {State(hook)}");
            }

            return ExitCode.Success;
        }));
        return command;
    }

    private static Command Remove(Terminal terminal)
    {
        var (id, data) = (new Argument<string>("ID") { Description = "The webhook's id." }, StoreAccess.DataOption());
        var command = new Command("remove", "Removes a webhook.") { id, data };
        command.SetAction((parsed, _) => StoreAccess.WithLedgerAsync(terminal, parsed.GetValue(data), async ledger =>
        {
            var hook = parsed.GetValue(id)!;
            if (!ledger.RemoveWebhook(hook))
            {
                return terminal.Refuse($"There is no webhook '{hook}'.");
            }

            await terminal.Out.WriteLineAsync($"{hook}: removed.");
            return ExitCode.Success;
        }));
        return command;
    }

    private static string State(Webhook hook) => hook switch
    {
        { DisabledWhy: { } why } => $"disabled: {why}",
        { Failing.Since: { } since } => $"failing since {Core.Time.Rfc3339.Format(since)}",
        _ => "well",
    };
}
