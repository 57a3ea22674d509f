using System.Net.Sockets;
using System.Security.Cryptography;
using System.Text;
using MailKit;
using MailKit.Net.Smtp;
using MailKit.Security;
using MimeKit;
using TankWatch.Service.Configuration;

namespace TankWatch.Service.Mail;

/// <summary>What became of one try to send one mail.</summary>
public abstract record MailOutcome
{
    public sealed record Sent : MailOutcome;

    /// <summary>No mail can leave at present; this one is not to blame.</summary>
    /// <param name="Reason">One line.</param>
    public sealed record Closed(string Reason) : MailOutcome;

    /// <param name="Reason">One line.</param>
    /// <param name="MayHoldForAll">It need not be the mail's own trouble: the way broke, or the server takes nothing from this sender.</param>
    public sealed record TryLater(string Reason, bool MayHoldForAll) : MailOutcome;

    /// <param name="Reason">One line: trying again cannot help.</param>
    public sealed record GiveUp(string Reason) : MailOutcome;
}

/// <summary>A way for mail to leave. Used by one sender, one call after the other.</summary>
public interface IMailTransport
{
    /// <summary>Opens the way, if it is not open already.</summary>
    /// <param name="stop">Stops waiting.</param>
    /// <returns>Null when mail can leave; else why not, in one line.</returns>
    Task<string?> OpenAsync(CancellationToken stop);

    /// <param name="key">The intention's key; a repeat has the same.</param>
    /// <param name="message">What to send.</param>
    /// <param name="stop">Stops waiting; the mail may have left.</param>
    Task<MailOutcome> SendAsync(string key, MimeMessage message, CancellationToken stop);

    /// <summary>Nothing more is to be sent for now.</summary>
    Task RestAsync();
}

/// <summary>Sends by SMTP. A connection serves a round of mails and is closed after it: one kept for longer is one more thing to find dead.</summary>
public sealed class SmtpTransport(MailOptions options) : IMailTransport, IDisposable
{
    /// <summary>Servers limit how many mails they take on one connection; 100 is a usual one.</summary>
    private const int MostOnOne = 100;

    private static readonly TimeSpan Patience = TimeSpan.FromSeconds(30);

    private SmtpClient? connection;
    private int sent;

    public async Task<string?> OpenAsync(CancellationToken stop)
    {
        if (connection is { IsConnected: true } && sent < MostOnOne)
        {
            return null;
        }

        await RestAsync();
        var client = new SmtpClient();
        try
        {
            await InTimeAsync(cancel => ConnectAsync(client, cancel), stop);
            (connection, sent) = (client, 0);
            return null;
        }
        catch (Exception fault) when (IsFailure(fault))
        {
            // A wrong password or certificate is for the operator to mend; giving up mails over it would lose them.
            return $"the mail server {options.SmtpHost} cannot be used: {MailWords.OneLine(fault.Message, 300)}";
        }
        finally
        {
            if (connection != client)
            {
                client.Dispose();
            }
        }
    }

    public async Task<MailOutcome> SendAsync(string key, MimeMessage message, CancellationToken stop)
    {
        while (true)
        {
            if (await OpenAsync(stop) is { } closed)
            {
                return new MailOutcome.Closed(closed);
            }

            var isFresh = sent++ == 0;
            try
            {
                await InTimeAsync(cancel => connection!.SendAsync(message, cancel), stop);
                return new MailOutcome.Sent();
            }
            catch (SmtpCommandException refusal) when (isFresh || refusal.StatusCode != SmtpStatusCode.ServiceNotAvailable)
            {
                return OutcomeOf(refusal);
            }
            catch (Exception fault) when (IsFailure(fault))
            {
                // A server may hang up on a connection that it has had enough of: a new one tells whether that was it.
                Dispose();
                if (isFresh)
                {
                    return new MailOutcome.TryLater($"the connection to the mail server failed: {MailWords.OneLine(fault.Message, 300)}", MayHoldForAll: true);
                }
            }
            catch (OperationCanceledException)
            {
                Dispose();
                throw;
            }
        }
    }

    public async Task RestAsync()
    {
        try
        {
            if (connection is { IsConnected: true } open)
            {
                await InTimeAsync(cancel => open.DisconnectAsync(quit: true, cancel), CancellationToken.None);
            }
        }
        catch (Exception fault) when (IsFailure(fault))
        {
            // The mails have been taken; a server that hangs up early does not undo that.
        }

        Dispose();
    }

    /// <summary>Drops the connection; the next mail gets a new one.</summary>
    public void Dispose()
    {
        connection?.Dispose();
        connection = null;
    }

    /// <remarks>RFC 5321, 4.2.1: 4yz may be tried again, 5yz may not. What is said to MAIL FROM is said of this service, whatever the mail.</remarks>
    private static MailOutcome OutcomeOf(SmtpCommandException refusal)
    {
        var reason = $"the mail server answered {(int)refusal.StatusCode} {MailWords.OneLine(refusal.Message, 300)}";
        var isOfSender = refusal.ErrorCode == SmtpErrorCode.SenderNotAccepted || refusal.StatusCode == SmtpStatusCode.ServiceNotAvailable;
        return isOfSender || (int)refusal.StatusCode < 500 ? new MailOutcome.TryLater(reason, isOfSender) : new MailOutcome.GiveUp(reason);
    }

    private async Task ConnectAsync(SmtpClient client, CancellationToken stop)
    {
        var (security, usualPort) = options.Security switch
        {
            MailSecurity.StartTls => (SecureSocketOptions.StartTls, 587),
            MailSecurity.Tls => (SecureSocketOptions.SslOnConnect, 465),
            _ => (SecureSocketOptions.None, 25),
        };
        await client.ConnectAsync(options.SmtpHost!, options.SmtpPort ?? usualPort, security, stop);
        if (options.User is { } user)
        {
            var password = options.PasswordFile is { } file ? (await File.ReadAllTextAsync(file, stop)).TrimEnd('\r', '\n') : "";
            await client.AuthenticateAsync(user, password, stop);
        }
    }

    /// <summary>A server that takes a connection and says nothing must not hold the sender for ever.</summary>
    private static async Task InTimeAsync(Func<CancellationToken, Task> work, CancellationToken stop)
    {
        using var patience = CancellationTokenSource.CreateLinkedTokenSource(stop);
        patience.CancelAfter(Patience);
        try
        {
            await work(patience.Token);
        }
        catch (OperationCanceledException) when (!stop.IsCancellationRequested)
        {
            throw new TimeoutException($"no answer within {Patience.TotalSeconds:0} s");
        }
    }

    private static bool IsFailure(Exception fault) =>
        fault is SocketException or IOException or ProtocolException or CommandException or AuthenticationException or SslHandshakeException
            or NotSupportedException or TimeoutException or UnauthorizedAccessException or ServiceNotConnectedException;
}

/// <summary>Writes each mail as a file, whole or not at all; a repeat replaces its file.</summary>
public sealed class PickupTransport(MailOptions options, DataOptions data) : IMailTransport
{
    /// <summary>Where the mails go.</summary>
    public string Folder { get; } = options.PickupFolder ?? Path.Combine(data.Path, "mail");

    public Task<string?> OpenAsync(CancellationToken stop)
    {
        try
        {
            Directory.CreateDirectory(Folder);
            return Task.FromResult<string?>(null);
        }
        catch (Exception fault) when (fault is IOException or UnauthorizedAccessException)
        {
            return Task.FromResult<string?>(Reason(fault));
        }
    }

    public async Task<MailOutcome> SendAsync(string key, MimeMessage message, CancellationToken stop)
    {
        var file = Path.Combine(Folder, FileNameOf(key));
        var half = file + ".part";
        try
        {
            message.Prepare(EncodingConstraint.SevenBit);
            await using (var stream = new FileStream(half, FileMode.Create, FileAccess.Write, FileShare.None))
            {
                await message.WriteToAsync(stream, stop);
                stream.Flush(flushToDisk: true);
            }

            File.Move(half, file, overwrite: true);
            return new MailOutcome.Sent();
        }
        catch (Exception fault) when (fault is IOException or UnauthorizedAccessException)
        {
            return new MailOutcome.Closed(Reason(fault));
        }
    }

    public Task RestAsync() => Task.CompletedTask;

    /// <remarks>A hash: the key may hold what a file system does not take.</remarks>
    public static string FileNameOf(string key) => Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(key)))[..32] + ".eml";

    private string Reason(Exception fault) => $"the folder {Folder} cannot be written: {MailWords.OneLine(fault.Message, 300)}";
}
