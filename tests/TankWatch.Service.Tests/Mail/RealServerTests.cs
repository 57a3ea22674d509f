using System.Diagnostics;
using System.Net;
using System.Net.Sockets;
using System.Text;
using System.Text.Json;
using TankWatch.Core.Notifications;
using TankWatch.Service.Configuration;
using TankWatch.Service.Mail;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.EndToEnd;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Mail;

/// <summary>A mail server as it is in the world: it greylists, refuses, and hangs up after it took a mail.</summary>
public sealed class RealServerTests
{
    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    private static SmtpTransport To(int port) => new(new MailOptions { SmtpHost = "127.0.0.1", SmtpPort = port });

    private static OutboxEntry Entry(Rig rig, int alert) => rig.Ledger.FindLetter($"m{alert:0000}.1.p")!;

    /// <remarks>RFC 5321, 4.5.4.1: what is refused for now is tried again, and what is refused for good is not [M].</remarks>
    [Fact]
    public async Task A_greylisted_letter_goes_within_minutes_and_a_refused_one_never_and_neither_holds_up_the_others()
    {
        await using var exim = await Exim.StartedAsync();
        await using var rig = NewRig();
        using var transport = To(exim.Port);
        using var sender = OutboxSenderTests.Sender(rig, transport);
        Letters.PostWithAlerts(rig, Letters.OfMany(rig, 1, "grey@mail.test"), Letters.OfMany(rig, 2, "gone@mail.test"), Letters.OfMany(rig, 3, "ann@mail.test"));
        await sender.SendDueAsync(Stop);
        Assert.Contains("451 not known yet, come back later", Entry(rig, 1).LastError, StringComparison.Ordinal);
        Assert.Equal(TimeSpan.FromSeconds(30), Entry(rig, 1).NextAttemptAt - rig.Time.GetUtcNow());
        Assert.Contains("550 there is no such person", Entry(rig, 2).LastError, StringComparison.Ordinal);
        Assert.NotNull(Entry(rig, 2).AbandonedAt);
        Assert.NotNull(Entry(rig, 3).SentAt);

        rig.Clock.Advance(TimeSpan.FromSeconds(30));
        await sender.SendDueAsync(Stop); // Too soon for this server.
        Assert.Equal(TimeSpan.FromMinutes(1), Entry(rig, 1).NextAttemptAt - rig.Time.GetUtcNow());
        exim.Know();
        rig.Clock.Advance(TimeSpan.FromMinutes(1));
        await sender.SendDueAsync(Stop);
        Assert.NotNull(Entry(rig, 1).SentAt);
        await Eventually.Holds(() => exim.Delivered().Count == 2, "both mails");
        Assert.Equal(new[] { 1, 3 }.Select(i => Entry(rig, i).Mail.MessageId).Order(), exim.Delivered().Select(mail => mail.MessageId).Order());
    }

    [Fact]
    public async Task A_server_that_hangs_up_after_it_took_a_mail_gets_it_again_under_the_same_message_id_and_it_is_never_lost()
    {
        await using var exim = await Exim.StartedAsync();
        await using var proxy = new HangingUp(exim.Port) { Times = 2 };
        await using var rig = NewRig();
        using var transport = To(proxy.Port);
        using var sender = OutboxSenderTests.Sender(rig, transport);
        Letters.PostWithAlerts(rig, Letters.OfMany(rig, 1, "ann@mail.test"), Letters.OfMany(rig, 2, "bob@mail.test"), Letters.OfMany(rig, 3, "eve@mail.test"));
        await sender.SendDueAsync(Stop);
        Assert.Contains("the connection to the mail server failed", Entry(rig, 1).LastError, StringComparison.Ordinal);
        Assert.NotNull(Entry(rig, 3).SentAt);
        rig.Clock.Advance(TimeSpan.FromMinutes(1));
        await sender.SendDueAsync(Stop);
        Assert.All(rig.Ledger.ListOutbox(null, 10), entry => Assert.NotNull(entry.SentAt));
        await Eventually.Holds(() => exim.Delivered().Count >= 5, "all mails, two of them twice");
        Assert.Equal([1, 2, 2], exim.Delivered().GroupBy(mail => mail.MessageId!).Select(same => same.Count()).Order());
    }

    [Fact]
    public async Task A_round_uses_one_connection()
    {
        await using var server = new MailServer().Start();
        await using var rig = NewRig();
        using var transport = To(server.Port);
        using var sender = OutboxSenderTests.Sender(rig, transport);
        Letters.PostWithAlerts(rig, [.. Enumerable.Range(0, 40).Select(i => Letters.OfMany(rig, i, $"p{i}@example.org"))]);
        await sender.SendDueAsync(Stop);
        Assert.Equal((40, 1), (server.Offered.Count, server.Sessions));
    }

    /// <remarks>
    /// RFC 5322, 2.1.1 and 3.6.4, RFC 2047, RFC 2919, RFC 8058, RFC 5321, 4.5.3.1 [M]; CHECKS J1 to J3. The other library is the email package of Python.
    /// </remarks>
    [Fact]
    public async Task Another_library_reads_what_was_sent_as_it_was_meant()
    {
        await using var server = new MailServer().Start();
        await using var rig = NewRig();
        const string site = "Ωμέγα कोठी 🚰 Çeşme\r\nBcc: all@example.org — a rather long name that has to be folded";
        var links = new MailLinks(rig.Ledger, () => "https://water.example");
        var letter = Letters.OfMany(rig, 1, "ann@example.org", NotifyReason.Reopened, thread: "m0001.0.p") with { SiteName = site };
        letter = letter with { Notification = letter.Notification with { To = letter.To with { Name = "Keld Jørn Simonsen", Language = "hi" } } };
        string[] thread = [.. Enumerable.Range(1, 40).Select(i => $"{i:0000000000000000000000000000000000}@water.example")];
        using (var transport = To(server.Port))
        {
            using var mail = new MailComposer(rig.Mail, links).TryCompose(MailWords.Of(letter, thread, Rig.Noon, links), out _)!;
            Assert.IsType<MailOutcome.Sent>(await transport.SendAsync("k", mail, Stop));
            await transport.RestAsync();
        }

        using var sent = Assert.Single(server.Offered);
        using var bytes = new MemoryStream();
        await sent.WriteToAsync(bytes, Stop);
        var read = await PythonAsync(bytes.ToArray());
        Assert.Empty(read.GetProperty("defects").EnumerateArray());
        Assert.InRange(read.GetProperty("longest").GetInt32(), 1, 998);
        Assert.InRange(read.GetProperty("longestWord").GetInt32(), 1, 75);
        Assert.Equal($"Re: {MailWords.OneLine($"{MailWords.OneLine(site)}: {Core.Texts.Languages.Of("hi").Say("kind.short-cycling.name")}, d0001", 150)}", read.GetProperty("subject").GetString());
        Assert.Equal(["Keld Jørn Simonsen", "ann@example.org"], read.GetProperty("to").EnumerateArray().Select(part => part.GetString()));
        Assert.Equal(string.Join(' ', thread.Select(id => $"<{id}>")), string.Join(' ', read.GetProperty("references").GetString()!.Split((char[]?)null, StringSplitOptions.RemoveEmptyEntries)));
        Assert.Equal($"<{thread[^1]}>", read.GetProperty("in-reply-to").GetString()!.Trim());
        Assert.Equal([$"<{letter.MessageId}>"], read.GetProperty("ids").EnumerateArray().Select(id => id.GetString()));
        Assert.Equal("TankWatch <alerts.water.example>", read.GetProperty("list-id").GetString());
        Assert.Equal($"<{links.UnsubscribeAddress("ann@example.org")}>", read.GetProperty("list-unsubscribe").GetString());
        Assert.Equal("List-Unsubscribe=One-Click", read.GetProperty("list-unsubscribe-post").GetString());
        Assert.Equal("2026-03-02T12:00:00+00:00", read.GetProperty("date").GetString());
        Assert.Equal("none", read.GetProperty("bcc").GetString());
        Assert.Equal(["multipart/alternative", "text/plain", "text/html"], read.GetProperty("types").EnumerateArray().Select(type => type.GetString()));
        Assert.Contains(links.AcknowledgeAddress(letter.Key, Rig.Noon)!, read.GetProperty("text").GetString(), StringComparison.Ordinal);
        Assert.Contains("<html lang=\"hi\" dir=\"ltr\">", read.GetProperty("html").GetString(), StringComparison.Ordinal);
    }

    private static Rig NewRig()
    {
        var rig = Rig.New();
        Assert.Null(rig.Put(SampleSite.Json()));
        return rig;
    }

    private static async Task<JsonElement> PythonAsync(byte[] mail)
    {
        const string script = """
            import sys, json, re, email, email.policy
            raw = sys.stdin.buffer.read()
            m = email.message_from_bytes(raw, policy=email.policy.default)
            head = re.split(rb"\r?\n\r?\n", raw, maxsplit=1)[0]
            parts = list(m.walk())
            to = m["to"].addresses
            print(json.dumps({
                "defects": [repr(d) for p in parts for d in p.defects], "longest": max(len(l) for l in re.split(rb"\r?\n", raw)),
                "longestWord": max([len(w) for w in re.findall(rb"=\?[^?]*\?[BbQq]\?[^?]*\?=", head)] or [0]),
                "subject": m["subject"], "to": [to[0].display_name, to[0].addr_spec] if len(to) == 1 else [],
                "references": m["references"], "in-reply-to": m["in-reply-to"], "ids": m.get_all("message-id"), "list-id": m["list-id"],
                "list-unsubscribe": "".join(m["list-unsubscribe"].split()), "list-unsubscribe-post": m["list-unsubscribe-post"],
                "date": m["date"].datetime.isoformat(), "bcc": str(m["bcc"] or "none"), "types": [p.get_content_type() for p in parts],
                "text": m.get_body(("plain",)).get_content(), "html": m.get_body(("html",)).get_content()}))
            """;
        Process python;
        try
        {
            python = Process.Start(new ProcessStartInfo("python3", ["-c", script]) { RedirectStandardInput = true, RedirectStandardOutput = true })!;
        }
        catch (System.ComponentModel.Win32Exception)
        {
            Assert.Skip("python3 is not installed");
            throw;
        }

        using (python)
        {
            await python.StandardInput.BaseStream.WriteAsync(mail, Stop);
            python.StandardInput.Close();
            var said = await python.StandardOutput.ReadToEndAsync(Stop);
            await python.WaitForExitAsync(Stop);
            Assert.Equal(0, python.ExitCode);
            return JsonSerializer.Deserialize<JsonElement>(said);
        }
    }

    /// <summary>Carries SMTP to a server and hangs up on the client instead of passing on that a mail was taken.</summary>
    private sealed class HangingUp : IAsyncDisposable
    {
        private readonly TcpListener listener = new(IPAddress.Loopback, 0);
        private readonly int target;
        private readonly Task accepting;

        public HangingUp(int target)
        {
            this.target = target;
            listener.Start();
            accepting = AcceptAsync();
        }

        public int Port => ((IPEndPoint)listener.LocalEndpoint).Port;

        /// <summary>So many mails more.</summary>
        public int Times { get; set; }

        public async ValueTask DisposeAsync()
        {
            listener.Stop();
            await accepting;
        }

        private async Task AcceptAsync()
        {
            try
            {
                while (true)
                {
                    using var client = await listener.AcceptTcpClientAsync();
                    using var server = new TcpClient();
                    await server.ConnectAsync(IPAddress.Loopback, target);
                    var up = client.GetStream().CopyToAsync(server.GetStream());
                    await AnswerAsync(server.GetStream(), client.GetStream());
                    client.Close();
                    await up.ContinueWith(_ => { }, TaskScheduler.Default);
                }
            }
            catch (Exception over) when (over is SocketException or ObjectDisposedException)
            {
                // The test is over.
            }
        }

        /// <returns>When either has hung up.</returns>
        private async Task AnswerAsync(NetworkStream server, NetworkStream client)
        {
            var (buffer, takes) = (new byte[4096], false);
            try
            {
                while (await server.ReadAsync(buffer) is > 0 and var count)
                {
                    var answer = Encoding.ASCII.GetString(buffer, 0, count);
                    if (takes && Times > 0 && answer.StartsWith("250", StringComparison.Ordinal))
                    {
                        Times--;
                        return;
                    }

                    takes = answer.StartsWith("354", StringComparison.Ordinal);
                    await client.WriteAsync(buffer.AsMemory(0, count));
                }
            }
            catch (IOException)
            {
                // So it has.
            }
        }
    }
}
