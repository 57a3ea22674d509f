using System.CommandLine;
using TankWatch.Service.Storage;
using TankWatch.Service.Storage.Keeping;

namespace TankWatch.Service.Commands;

/// <summary><c>verify</c>: checks the whole store, beside a running service or without one.</summary>
internal static class VerifyCommand
{
    private static readonly TimeSpan Pause = TimeSpan.FromSeconds(2);

    public static Command Create(Terminal terminal)
    {
        var data = StoreAccess.DataOption();
        var command = new Command(
            "verify",
            "Checks the whole store, while the service runs or without it: every checksum, the order of the messages, the units' counts, alerts, "
            + "and every run and day against the messages. Says each fault in one line.")
        {
            data,
        };
        command.SetAction((parsed, stop) => StoreAccess.WithStoreAsync(terminal, parsed.GetValue(data), database => RunAsync(terminal, database, stop)));
        return command;
    }

    private static async Task<int> RunAsync(Terminal terminal, Database database, CancellationToken stop)
    {
        var check = new StoreCheck(
            database, TimeProvider.System, () => Task.Delay(Pause, TimeProvider.System, stop), line => terminal.Out.WriteLine(Terminal.OneLine(line)));
        var done = await terminal.WithProgressAsync("Checking the store", progress => Task.Run(() => check.RunAsync(progress), stop));
        var summary = $"{Words.Count(done.Messages, "message")}, {Words.Count(done.Sites, "site")}, {Words.Count(done.Alerts, "alert")}; "
            + $"{Words.Count(done.Agreeing, "run and day", "runs and days")} agree with the messages"
            + (done.Uncheckable > 0 ? $", {done.Uncheckable} are older than the messages that are left" : "");
        if (done.Faults > 0)
        {
            return terminal.Fail($"{Words.Count(done.Faults, "fault")} in the store. {summary}.");
        }

        await terminal.Out.WriteLineAsync($"no fault. {summary}.");
        return ExitCode.Success;
    }
}
