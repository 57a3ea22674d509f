using System.Diagnostics;
using System.Net.Sockets;
using MimeKit;
using TankWatch.Service.Tests.Mail;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.EndToEnd;

/// <summary>
/// A real exim that accepts mail on a free port of this machine and delivers all of it into one maildir; <c>gone@…</c> it refuses for good, and
/// <c>grey@…</c> until <see cref="Know"/>. It must be started by root, which it needs to give its rights up; where it is not there, the test is
/// reported as not run.
/// </summary>
internal sealed class Exim : IAsyncDisposable
{
    private const string Program = "/usr/sbin/exim4";
    private readonly string folder = Directory.CreateTempSubdirectory("exim-").FullName;
    private Process? process;

    public int Port { get; } = MailServer.FreePort();

    public static async Task<Exim> StartedAsync()
    {
        if (!File.Exists(Program) || Environment.UserName != "root")
        {
            Assert.Skip("exim4 is not installed, or this is not root, which starting it needs");
        }

        var exim = new Exim();
        await exim.StartAsync();
        return exim;
    }

    /// <summary>What was delivered, in no order.</summary>
    public IReadOnlyList<MimeMessage> Delivered() => Directory.Exists(Path.Combine(folder, "box", "new"))
        ? [.. Directory.GetFiles(Path.Combine(folder, "box", "new")).Select(file => MimeMessage.Load(file))] : [];

    /// <summary>The pause that a server which greylists asks for is over.</summary>
    public void Know() => File.WriteAllText(Path.Combine(folder, "known"), "");

    private async Task StartAsync()
    {
        var configuration = Path.Combine(folder, "exim.conf");
        await File.WriteAllTextAsync(configuration, $$"""
            local_interfaces = 127.0.0.1
            daemon_smtp_ports = {{Port}}
            keep_environment =
            tls_advertise_hosts =
            exim_user = mail
            exim_group = mail
            spool_directory = {{folder}}/spool
            log_file_path = {{folder}}/log/%s
            pid_file_path = {{folder}}/exim.pid
            primary_hostname = mail.test
            qualify_domain = mail.test
            host_lookup =
            rfc1413_query_timeout = 0s
            acl_smtp_rcpt = take
            acl_smtp_data = all
            begin acl
            take:
              deny local_parts = gone
                message = there is no such person
              defer local_parts = grey
                condition = ${if exists{{{folder}}/known}{no}{yes} }
                message = not known yet, come back later
              accept
            all:
              accept
            begin routers
            all:
              driver = accept
              transport = box
            begin transports
            box:
              driver = appendfile
              directory = {{folder}}/box
              maildir_format
              create_directory
              user = mail

            """);
        using (var owner = Process.Start("chown", ["-R", "mail:mail", folder]))
        {
            await owner.WaitForExitAsync();
        }

        using (var owner = Process.Start("chown", ["root:root", configuration]))
        {
            await owner.WaitForExitAsync();
        }

        process = Process.Start(new ProcessStartInfo(Program, ["-C", configuration, "-bdf", "-q1m"]) { RedirectStandardError = true, RedirectStandardOutput = true })!;
        process.ErrorDataReceived += (_, _) => { };
        process.BeginErrorReadLine();
        await Eventually.Holds(Answers, "an answer of exim");
    }

    private bool Answers()
    {
        try
        {
            using var client = new TcpClient("127.0.0.1", Port);
            return client.Connected;
        }
        catch (SocketException)
        {
            return false;
        }
    }

    public async ValueTask DisposeAsync()
    {
        if (process is not null)
        {
            process.Kill(entireProcessTree: true);
            await process.WaitForExitAsync();
            process.Dispose();
        }

        Directory.Delete(folder, recursive: true);
    }
}
