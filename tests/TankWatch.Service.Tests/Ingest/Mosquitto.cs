using System.Diagnostics;
using System.Net.Sockets;
using System.Security.Cryptography;
using System.Security.Cryptography.X509Certificates;
using TankWatch.Service.Tests.Mail;
using Xunit;

namespace TankWatch.Service.Tests.Ingest;

/// <summary>
/// A real mosquitto: one at the address in TANKWATCH_TEST_MOSQUITTO (host:port), else a native process of our own, which the test may
/// kill and start again. Where there is neither, the test is reported as not run.
/// </summary>
internal sealed class Mosquitto : IAsyncDisposable
{
    /// <summary>Without a file, which at each change would cost more than a load does: its sessions do not outlive its own death.</summary>
    public const string InMemory = "persistence false\nmax_queued_messages 0\nmax_inflight_messages 0\nset_tcp_nodelay true";

    private const string AddressVariable = "TANKWATCH_TEST_MOSQUITTO";
    private static readonly string[] Places = ["/usr/sbin/mosquitto", "/usr/bin/mosquitto", "/usr/local/sbin/mosquitto", "/opt/homebrew/sbin/mosquitto"];

    private readonly string? program;
    private readonly string folder = Directory.CreateTempSubdirectory("mosquitto-").FullName;
    private Process? process;

    private Mosquitto(string host, int port, string? program) => (Host, Port, this.program) = (host, port, program);

    public string Host { get; }
    public int Port { get; }

    /// <summary>Of the listener with TLS, when asked for.</summary>
    public int TlsPort { get; private init; }

    /// <summary>All but where it listens, whom it lets in and where it stores; null for what suits most tests.</summary>
    private string? Configuration { get; init; }

    /// <summary>The certificate that the listener shows, its own authority.</summary>
    public string CaFile => Path.Combine(folder, "ca.pem");

    public static async Task<Mosquitto> StartedAsync(bool mustBeOurs = false, bool tls = false, string? configuration = null)
    {
        if (!mustBeOurs && Environment.GetEnvironmentVariable(AddressVariable)?.Split(':') is [var host, var port])
        {
            return new(host, int.Parse(port, System.Globalization.CultureInfo.InvariantCulture), null);
        }

        if (Array.Find(Places, File.Exists) is not { } found)
        {
            Assert.Skip("mosquitto is not installed, and TANKWATCH_TEST_MOSQUITTO names none that this test could use");
            throw new UnreachableException();
        }

        var mosquitto = new Mosquitto("127.0.0.1", MailServer.FreePort(), found) { TlsPort = tls ? MailServer.FreePort() : 0, Configuration = configuration };
        await mosquitto.StartAsync();
        return mosquitto;
    }

    public async Task StartAsync()
    {
        var configuration = Path.Combine(folder, "mosquitto.conf");
        await File.WriteAllTextAsync(configuration, $"""
            listener {Port} {Host}
            allow_anonymous true
            persistence_location {folder}/
            {Configuration ?? "persistence true\nautosave_interval 1\nautosave_on_changes true\nmax_queued_messages 0\nmax_inflight_messages 0\nset_tcp_nodelay true"}
            {(TlsPort == 0 ? "" : TlsListener())}
            {(OperatingSystem.IsLinux() && Environment.UserName == "root" ? "user root" : "")}
            """);
        process = Process.Start(new ProcessStartInfo(program!, ["-c", configuration]) { RedirectStandardError = true, RedirectStandardOutput = true })!;
        process.OutputDataReceived += (_, _) => { };
        process.ErrorDataReceived += (_, _) => { };
        process.BeginErrorReadLine();
        process.BeginOutputReadLine();
        await TankWatch.Service.Tests.Sites.Eventually.Holds(Answers, "an answer of mosquitto");
    }

    /// <summary>As a machine that loses its power: nothing is said to anybody.</summary>
    public async Task KillAsync()
    {
        process!.Kill();
        await process.WaitForExitAsync();
        process.Dispose();
        process = null;
    }

    public async ValueTask DisposeAsync()
    {
        if (process is not null)
        {
            await KillAsync();
        }

        Directory.Delete(folder, recursive: true);
    }

    private string TlsListener()
    {
        using var key = RSA.Create(2048);
        var request = new CertificateRequest("CN=localhost", key, HashAlgorithmName.SHA256, RSASignaturePadding.Pkcs1);
        var names = new SubjectAlternativeNameBuilder();
        names.AddDnsName("localhost");
        request.CertificateExtensions.Add(names.Build());
        request.CertificateExtensions.Add(new X509BasicConstraintsExtension(certificateAuthority: true, false, 0, critical: true));
        using var certificate = request.CreateSelfSigned(TimeProvider.System.GetUtcNow().AddDays(-1), TimeProvider.System.GetUtcNow().AddDays(1));
        File.WriteAllText(CaFile, certificate.ExportCertificatePem());
        File.WriteAllText(Path.Combine(folder, "key.pem"), key.ExportPkcs8PrivateKeyPem());
        return $"listener {TlsPort} {Host}\ncertfile {CaFile}\nkeyfile {folder}/key.pem";
    }

    private bool Answers()
    {
        try
        {
            using var client = new TcpClient(Host, Port);
            return client.Connected;
        }
        catch (SocketException)
        {
            return false;
        }
    }
}
