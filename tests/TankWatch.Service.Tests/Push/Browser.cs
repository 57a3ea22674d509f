using System.Buffers.Binary;
using System.Buffers.Text;
using System.Security.Cryptography;
using System.Text;

namespace TankWatch.Service.Tests.Push;

/// <summary>A browser's side of a subscription: its keys, and how it opens what it is sent. Written from RFC 8291 and RFC 8188.</summary>
internal sealed class Browser : IDisposable
{
    private readonly ECDiffieHellman pair;
    private readonly byte[] auth;

    public Browser()
        : this(ECDiffieHellman.Create(ECCurve.NamedCurves.nistP256), RandomNumberGenerator.GetBytes(16))
    {
    }

    /// <param name="pair">Its own.</param>
    /// <param name="auth">16 bytes that it shares with the sender.</param>
    public Browser(ECDiffieHellman pair, byte[] auth) => (this.pair, this.auth) = (pair, auth);

    public string P256dh => Base64Url.EncodeToString(Point(pair.ExportParameters(false)));

    public string Auth => Base64Url.EncodeToString(auth);

    public void Dispose() => pair.Dispose();

    public string Open(byte[] body)
    {
        // RFC 8188, 2.1: salt (16), record size (4), length of the key id, key id: the sender's public key.
        var salt = body[..16];
        Assert(BinaryPrimitives.ReadUInt32BigEndian(body.AsSpan(16, 4)) >= 18 && body[20] == 65);
        var (sender, sealedText) = (body[21..86], body[86..]);
        using var theirs = ECDiffieHellman.Create(new ECParameters { Curve = ECCurve.NamedCurves.nistP256, Q = new() { X = sender[1..33], Y = sender[33..] } });
        var secret = pair.DeriveRawSecretAgreement(theirs.PublicKey);
        var key = HKDF.DeriveKey(HashAlgorithmName.SHA256, secret, 32, auth, [.. "WebPush: info\0"u8, .. Point(pair.ExportParameters(false)), .. sender]); // RFC 8291, 3.4
        var content = HKDF.DeriveKey(HashAlgorithmName.SHA256, key, 16, salt, "Content-Encoding: aes128gcm\0"u8.ToArray());
        var nonce = HKDF.DeriveKey(HashAlgorithmName.SHA256, key, 12, salt, "Content-Encoding: nonce\0"u8.ToArray());
        using var aes = new AesGcm(content, 16);
        var plain = new byte[sealedText.Length - 16];
        aes.Decrypt(nonce, sealedText[..^16], sealedText[^16..], plain);
        var end = Array.FindLastIndex(plain, b => b != 0);
        Assert(plain[end] == 2); // RFC 8188, 2: the mark of the last record.
        return Encoding.UTF8.GetString(plain, 0, end);
    }

    private static byte[] Point(ECParameters key) => [4, .. key.Q.X!, .. key.Q.Y!];

    private static void Assert(bool holds) => Xunit.Assert.True(holds);
}
