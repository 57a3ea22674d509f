using System.Buffers.Binary;
using System.Globalization;
using System.IO.Hashing;
using System.Text;

namespace TankWatch.Core.FieldMessages;

/// <summary>
/// What makes two messages of a unit one: its own count (boot and seq), or without one a hash of kind, device, time and content. Compared
/// and hashed without allocating.
/// </summary>
/// <param name="Unit">Whose message.</param>
/// <param name="IsCounted">True: <paramref name="High"/> is boot and <paramref name="Low"/> seq. False: they are the halves of a hash.</param>
/// <param name="High">Boot, or the upper 64 bits of the hash.</param>
/// <param name="Low">Seq, or the lower 64 bits of the hash.</param>
public readonly record struct MessageIdentity(UnitId Unit, bool IsCounted, ulong High, ulong Low)
{
    public static MessageIdentity OfCount(UnitId unit, long boot, long seq) => new(unit, true, (ulong)boot, (ulong)seq);

    /// <param name="unit">Whose message.</param>
    /// <param name="kind">From the topic.</param>
    /// <param name="device">Its id; empty for a message about the unit itself.</param>
    /// <param name="at">When it happened.</param>
    /// <param name="json">The message as it came.</param>
    /// <remarks>
    /// The hash (XXH128) resists accident, not malice: a unit can make its own messages collide, and so lose its own words. The unit is part
    /// of the identity, so nobody can make those of another one collide.
    /// </remarks>
    public static MessageIdentity OfContent(UnitId unit, MessageKind kind, string device, DateTimeOffset at, ReadOnlySpan<byte> json)
    {
        const int Fixed = 1 + sizeof(long) + 16;
        Span<byte> parts = stackalloc byte[Fixed + (3 * IdRule.MaxLength)];
        parts[0] = (byte)kind;
        BinaryPrimitives.WriteInt64BigEndian(parts[1..], at.UtcTicks);
        BinaryPrimitives.WriteUInt128BigEndian(parts[9..], XxHash128.HashToUInt128(json));
        var length = Fixed + Encoding.UTF8.GetBytes(device, parts[Fixed..]);
        var hash = XxHash128.HashToUInt128(parts[..length]);
        return new(unit, false, (ulong)(hash >> 64), (ulong)hash);
    }

    /// <summary>One text for each identity: <c>unit/boot/seq</c>, or <c>unit/</c> and 32 hexadecimal digits.</summary>
    public override string ToString() => IsCounted
        ? string.Create(CultureInfo.InvariantCulture, $"{Unit.Value}/{High}/{Low}")
        : string.Create(CultureInfo.InvariantCulture, $"{Unit.Value}/{High:x16}{Low:x16}");
}
