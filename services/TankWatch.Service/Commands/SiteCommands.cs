using System.Collections.Immutable;
using System.CommandLine;
using TankWatch.Core;
using TankWatch.Core.Commissioning;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;

namespace TankWatch.Service.Commands;

/// <summary><c>site check</c>, <c>site import</c>, <c>site export</c>.</summary>
internal static class SiteCommands
{
    public static Command Create(Terminal terminal) => new("site", "Checks, loads and writes site files: what is installed in a building.")
    {
        Check(terminal), Import(terminal), Export(terminal),
    };

    private static Command Check(Terminal terminal)
    {
        var file = FileArgument();
        var command = new Command("check", "Says every fault of a site file, with its JSON path, and what a good one should do.") { file };
        command.SetAction(async (parsed, stop) =>
        {
            if (await ReadAsync(terminal, parsed.GetValue(file)!, stop) is not var (plan, _))
            {
                return ExitCode.BadInput;
            }

            await terminal.Out.WriteLineAsync($"{plan.Id}: no fault. {Contents(plan)}");
            await ForetellAsync(terminal.Out, Predictions.Of(plan));
            return ExitCode.Success; // A prediction is advice: the file is good whatever it says.
        });
        return command;
    }

    private static Command Import(Terminal terminal)
    {
        var (file, data) = (FileArgument(), StoreAccess.DataOption());
        var command = new Command("import", "Loads a site file into the store; one of the same id is replaced.") { file, data };
        command.SetAction(async (parsed, stop) =>
        {
            if (await ReadAsync(terminal, parsed.GetValue(file)!, stop) is not var (plan, json))
            {
                return ExitCode.BadInput;
            }

            return await StoreAccess.WithLedgerAsync(terminal, parsed.GetValue(data), async ledger =>
            {
                if (ledger.PutSite(plan, json) is { } refusal)
                {
                    return terminal.Refuse(refusal);
                }

                await terminal.Out.WriteLineAsync($"{plan.Id}: imported. {Contents(plan)}");
                return ExitCode.Success;
            });
        });
        return command;
    }

    private static Command Export(Terminal terminal)
    {
        var (id, data) = (new Argument<string>("ID") { Description = "The site's id." }, StoreAccess.DataOption());
        var command = new Command("export", "Writes a site file to standard output.") { id, data };
        command.SetAction((parsed, _) => StoreAccess.WithLedgerAsync(terminal, parsed.GetValue(data), async ledger =>
        {
            var site = parsed.GetValue(id)!;
            if (ledger.FindSite(new SiteId(site)) is not { } found)
            {
                return terminal.Refuse($"There is no site '{site}'.");
            }

            await terminal.Out.WriteLineAsync(found.Json);
            return ExitCode.Success;
        }));
        return command;
    }

    private static Argument<string> FileArgument() => new("FILE") { Description = "A site file (JSON); - reads standard input." };

    /// <summary>Null when the file cannot be used; every reason has been told.</summary>
    public static async Task<(SitePlan Plan, string Json)?> ReadAsync(Terminal terminal, string name, CancellationToken stop)
    {
        byte[] bytes;
        try
        {
            bytes = await InputFiles.ReadAsync(name, SiteFile.MaxBytes, stop);
        }
        catch (Exception e) when (InputFiles.IsFileTrouble(e))
        {
            terminal.Tell($"The file '{name}' cannot be read: {InputFiles.Why(e)}.");
            return null;
        }

        var result = SiteFile.Parse(bytes);
        foreach (var fault in result.Faults)
        {
            terminal.Tell(fault.ToString());
        }

        foreach (var warning in result.Warnings)
        {
            terminal.Tell($"warning: {warning}");
        }

        return result.Plan is { } plan ? (plan, System.Text.Encoding.UTF8.GetString(bytes).TrimStart('\uFEFF')) : null;
    }

    /// <summary>A line each, what asks for a look first, and at the end what can hurt someone who sees to it.</summary>
    private static async Task ForetellAsync(TextWriter output, ImmutableArray<Prediction> predictions)
    {
        if (predictions.IsEmpty)
        {
            return;
        }

        await output.WriteLineAsync("What this installation should do, from its site file alone:");
        foreach (var prediction in predictions.OrderByDescending(p => p.Outlook))
        {
            await output.WriteLineAsync($"  {PredictionNames.Of(prediction.Outlook) + ":",-6} {Languages.English.Say(prediction.Text)}");
        }

        foreach (var caution in predictions.SelectMany(p => p.Cautions).Distinct())
        {
            await output.WriteLineAsync($"  Take care. {Languages.English.Say(caution)}");
        }
    }

    private static string Contents(SitePlan plan) =>
        $"Tanks: {plan.Tanks.Length}. Pumps: {plan.Pumps.Length}. Field units: {plan.Units.Length}.";
}
