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

    /// <param name="Reason">One line.</param>
    /// <param name="HoldsForAll">The way out is closed, so that trying other mails now would only cost time.</param>
    public sealed record TryLater(string Reason, bool HoldsForAll) : MailOutcome;

    /// <param name="Reason">One line: trying again cannot help.</param>
    public sealed record GiveUp(string Reason) : MailOutcome;
}

/// <summary>A way for mail to leave.</summary>
public interface IMailTransport
{
    /// <param name="key">The intention's key; a repeat has the same.</param>
    /// <param name="message">What to send.</param>
    /// <param name="stop">Stops waiting; the mail may have left.</param>
    Task<MailOutcome> SendAsync(string key, MimeMessage message, CancellationToken stop);
}

/// <summary>Sends by SMTP, one connection a mail: alerts are few, and a connection kept open is one more thing to find dead.</summary>
public sealed class SmtpTransport(MailOptions options) : IMailTransport
{
    private static readonly TimeSpan Patience = TimeSpan.FromSeconds(30);

    public async Task<MailOutcome> SendAsync(string key, MimeMessage message, CancellationToken stop)
    {
        using var client = new SmtpClient { Timeout = (int)Patience.TotalMilliseconds };
        try
        {
            await ConnectAsync(client, stop);
        }
        catch (Exception fault) when (IsFailure(fault))
        {
            // A wrong password or certificate is for the operator to mend; giving up mails over it would lose them.
            return new MailOutcome.TryLater($"the mail server {options.SmtpHost} cannot be used: {MailWords.OneLine(fault.Message, 300)}", HoldsForAll: true);
        }

        try
        {
            await client.SendAsync(message, stop);
        }
        catch (SmtpCommandException refusal)
        {
            var reason = $"the mail server answered {(int)refusal.StatusCode} {MailWords.OneLine(refusal.Message, 300)}";
            return (int)refusal.StatusCode >= 500 ? new MailOutcome.GiveUp(reason) : new MailOutcome.TryLater(reason, HoldsForAll: false);
        }
        catch (Exception fault) when (IsFailure(fault))
        {
            return new MailOutcome.TryLater($"the connection to the mail server failed: {MailWords.OneLine(fault.Message, 300)}", HoldsForAll: true);
        }

        await SayGoodbyeAsync(client, stop);
        return new MailOutcome.Sent();
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

    private static async Task SayGoodbyeAsync(SmtpClient client, CancellationToken stop)
    {
        try
        {
            await client.DisconnectAsync(quit: true, stop);
        }
        catch (Exception fault) when (IsFailure(fault))
        {
            // The mail has been taken; a server that hangs up early does not undo that.
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

    public async Task<MailOutcome> SendAsync(string key, MimeMessage message, CancellationToken stop)
    {
        var file = Path.Combine(Folder, FileNameOf(key));
        var half = file + ".part";
        try
        {
            Directory.CreateDirectory(Folder);
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
            return new MailOutcome.TryLater($"the folder {Folder} cannot be written: {MailWords.OneLine(fault.Message, 300)}", HoldsForAll: true);
        }
    }

    /// <remarks>A hash: the key may hold what a file system does not take.</remarks>
    public static string FileNameOf(string key) => Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(key)))[..32] + ".eml";
}
