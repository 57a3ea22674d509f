using System.Buffers.Binary;
using System.Buffers.Text;
using System.Security.Cryptography;
using System.Text;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Mail;

/// <summary>
/// The addresses in mails by which somebody without a login acknowledges an alert or stops mails. Whoever has one was sent the mail: it
/// names what may be done and is signed with a key of the store.
/// </summary>
/// <param name="ledger">Has the key, and with it what a backup restores goes on to work.</param>
/// <param name="publicUrl">Where people reach this service; null where nobody said, and then mails have no links.</param>
public sealed class MailLinks(LedgerStore ledger, Func<string?> publicUrl)
{
    /// <summary>How long after a letter its alert can be acknowledged from it.</summary>
    public static readonly TimeSpan AcknowledgeWithin = TimeSpan.FromDays(7);

    public const string AcknowledgePath = "/a/";
    public const string UnsubscribePath = "/u/";

    private const byte Acknowledge = (byte)'a', Unsubscribe = (byte)'u';

    /// <summary>Purpose, and the second since 1970 at which it ends.</summary>
    private const int HeadLength = 5;

    /// <summary>Half of what HMAC-SHA-256 gives, which RFC 2104 (5) allows: 128 bits cannot be guessed, and addresses stay short.</summary>
    private const int SignatureLength = 16;

    private const int LongestToken = 1000;

    /// <param name="letter">The key of the letter: it names the alert and the person.</param>
    /// <param name="createdAt">Of the letter, so that a repeat has the same address.</param>
    public string? AcknowledgeAddress(string letter, DateTimeOffset createdAt) => Address(AcknowledgePath, Acknowledge, letter, createdAt + AcknowledgeWithin);

    /// <summary>The same from the root on, for a browser that knows where it has it from.</summary>
    /// <param name="letter">As above.</param>
    /// <param name="createdAt">As above.</param>
    public string AcknowledgeLink(string letter, DateTimeOffset createdAt) => AcknowledgePath + Token(Acknowledge, letter, createdAt + AcknowledgeWithin);

    /// <param name="email">Of the person. Good for ever: an old mail must be as good for stopping mails as a new one.</param>
    public string? UnsubscribeAddress(string email) => Address(UnsubscribePath, Unsubscribe, email, DateTimeOffset.UnixEpoch);

    /// <returns>The letter's key and until when it could be acknowledged; null for what is none of ours.</returns>
    public (string Letter, DateTimeOffset Until)? ReadAcknowledge(string token) => Read(Acknowledge, token);

    /// <returns>The person's address; null for what is none of ours.</returns>
    public string? ReadUnsubscribe(string token) => Read(Unsubscribe, token)?.Subject;

    private string? Address(string path, byte purpose, string subject, DateTimeOffset until) =>
        publicUrl() is { } url ? url.TrimEnd('/') + path + Token(purpose, subject, until) : null;

    private string Token(byte purpose, string subject, DateTimeOffset until)
    {
        var token = new byte[HeadLength + Encoding.UTF8.GetByteCount(subject) + SignatureLength];
        token[0] = purpose;
        BinaryPrimitives.WriteUInt32BigEndian(token.AsSpan(1), (uint)until.ToUnixTimeSeconds());
        Encoding.UTF8.GetBytes(subject, token.AsSpan(HeadLength));
        Sign(token.AsSpan(..^SignatureLength)).CopyTo(token.AsSpan(^SignatureLength..));
        return Base64Url.EncodeToString(token);
    }

    private (string Subject, DateTimeOffset Until)? Read(byte purpose, string token)
    {
        if (token.Length > LongestToken || !Base64Url.IsValid(token))
        {
            return null;
        }

        var bytes = Base64Url.DecodeFromChars(token).AsSpan();
        return bytes.Length > HeadLength + SignatureLength && bytes[0] == purpose
            && CryptographicOperations.FixedTimeEquals(bytes[^SignatureLength..], Sign(bytes[..^SignatureLength]))
            ? (Encoding.UTF8.GetString(bytes[HeadLength..^SignatureLength]), DateTimeOffset.FromUnixTimeSeconds(BinaryPrimitives.ReadUInt32BigEndian(bytes[1..]))) : null;
    }

    private byte[] Sign(ReadOnlySpan<byte> what) => HMACSHA256.HashData(ledger.GetLinkKey(), what)[..SignatureLength];
}
