using System.Security.Cryptography;
using System.Text;

namespace TankWatch.Service.Webhooks;

/// <summary>Signs in the manner of Standard Webhooks, version 1 of a symmetric signature.</summary>
/// <remarks>A few lines over HMAC-SHA-256: the library there is for .NET signs with one secret only. The tests verify with it.</remarks>
internal static class WebhookSignature
{
    public const string SecretPrefix = "whsec_";
    private const int SecretBytes = 32; // 24 to 64 are allowed.

    public static string NewSecret() => SecretPrefix + Convert.ToBase64String(RandomNumberGenerator.GetBytes(SecretBytes));

    /// <param name="secrets">All that are in force, with their prefix or without.</param>
    /// <param name="id">The <c>webhook-id</c>.</param>
    /// <param name="timestamp">The <c>webhook-timestamp</c>, in seconds since 1970.</param>
    /// <param name="body">As it is sent.</param>
    /// <returns>The <c>webhook-signature</c>: one signature a secret, separated by spaces.</returns>
    /// <remarks>Of several, the first stands at the end once more: a library in use (for .NET, 1.1.2) never looks at the last of several.</remarks>
    public static string Of(IReadOnlyList<string> secrets, string id, long timestamp, ReadOnlySpan<byte> body)
    {
        byte[] signed = [.. Encoding.UTF8.GetBytes(FormattableString.Invariant($"{id}.{timestamp}.")), .. body];
        var signatures = secrets.Select(secret => "v1," + Convert.ToBase64String(HMACSHA256.HashData(Key(secret), signed))).ToList();
        return string.Join(' ', signatures.Count == 1 ? signatures : [.. signatures, signatures[0]]);
    }

    private static byte[] Key(string secret) =>
        Convert.FromBase64String(secret.StartsWith(SecretPrefix, StringComparison.Ordinal) ? secret[SecretPrefix.Length..] : secret);
}
