using System.Diagnostics;
using System.Net.Sockets;
using System.Text.RegularExpressions;
using TankWatch.Service.Tests.Mail;
using TankWatch.Service.Tests.Sites;
using TankWatch.Service.Webhooks;
using Xunit;

namespace TankWatch.Service.Tests.Webhooks;

/// <summary>The receiver of docs/webhooks.md, as it stands there.</summary>
public sealed partial class WebhookExampleTests
{
    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    [Fact]
    public async Task The_receiver_of_the_documentation_takes_what_is_signed_and_nothing_else()
    {
        var program = Program().Match(await File.ReadAllTextAsync(Path.Combine(AppContext.BaseDirectory, "Docs", "webhooks.md"), Stop)).Groups[1].Value;
        await using var rig = HookRig.New(TimeProvider.System);
        var port = MailServer.FreePort();
        var (hook, stranger) = (rig.Add($"http://127.0.0.1:{port}/"), rig.Add($"http://127.0.0.1:{port}/"));
        using var receiver = Start(program, hook.Secret, port);
        Assert.SkipWhen(receiver is null, "not run: python3 is not here");
        try
        {
            await Eventually.Holds(() => receiver.HasExited || IsOpen(port), "the receiver's port");
            rig.Note("one");
            await HookRig.DrainAsync(rig.Worker(hook));
            await HookRig.DrainAsync(rig.Worker(stranger));
            Assert.StartsWith("alert.noted ", await receiver.StandardOutput.ReadLineAsync(Stop), StringComparison.Ordinal);
            Assert.Equal((1, 204), Last(hook.Id));
            Assert.Equal((1, 401), Last(stranger.Id));

            Assert.True(rig.Ledger.RotateWebhook(hook.Id, WebhookSignature.NewSecret(), rig.Now.AddHours(24)));
            rig.Note("two");
            await HookRig.DrainAsync(rig.Worker(hook));
            Assert.Equal((1, 204), Last(hook.Id)); // By the old secret still.
        }
        finally
        {
            receiver.Kill();
        }

        (int Attempts, int? Status) Last(string id) => rig.Ledger.ListDeliveries(id, null, long.MaxValue, 1)[0] is var last ? (last.Attempts, last.Status) : default;
    }

    private static Process? Start(string program, string secret, int port)
    {
        try
        {
            return Process.Start(new ProcessStartInfo("python3", ["-c", program, $"{port}"])
            {
                RedirectStandardOutput = true, RedirectStandardError = true, Environment = { ["WEBHOOK_SECRET"] = secret },
            });
        }
        catch (System.ComponentModel.Win32Exception)
        {
            return null;
        }
    }

    private static bool IsOpen(int port)
    {
        try
        {
            using var client = new TcpClient("127.0.0.1", port);
            return true;
        }
        catch (SocketException)
        {
            return false;
        }
    }

    [GeneratedRegex("```python\n(.*?)```", RegexOptions.Singleline)]
    private static partial Regex Program();
}
