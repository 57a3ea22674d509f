using System.Buffers.Binary;
using System.IO.Hashing;

namespace TankWatch.Service.Storage.Series;

/// <summary>Writes numbers in as few bytes as they need, seven bits a byte, lowest first.</summary>
internal sealed class PackedWriter(int capacity = 256)
{
    private byte[] buffer = new byte[capacity];

    public int Length { get; private set; }

    public ReadOnlySpan<byte> Written => buffer.AsSpan(0, Length);

    /// <summary>What was written, until the next change.</summary>
    public ReadOnlyMemory<byte> Memory => buffer.AsMemory(0, Length);

    public void Clear() => Length = 0;

    public void Byte(byte value)
    {
        Room(1);
        buffer[Length++] = value;
    }

    public void Number(ulong value)
    {
        Room(10);
        while (value >= 0x80)
        {
            buffer[Length++] = (byte)(value | 0x80);
            value >>= 7;
        }

        buffer[Length++] = (byte)value;
    }

    /// <summary>Small numbers of either sign stay small: 0, -1, 1, -2 … become 0, 1, 2, 3 ….</summary>
    public void Signed(long value) => Number((ulong)((value << 1) ^ (value >> 63)));

    public void Bytes(ReadOnlySpan<byte> bytes)
    {
        Room(bytes.Length);
        bytes.CopyTo(buffer.AsSpan(Length));
        Length += bytes.Length;
    }

    /// <summary>Ends what was written with a checksum over all of it.</summary>
    public byte[] Sealed()
    {
        Room(Seal.Length);
        BinaryPrimitives.WriteUInt64LittleEndian(buffer.AsSpan(Length), XxHash64.HashToUInt64(Written));
        return buffer.AsSpan(0, Length + Seal.Length).ToArray();
    }

    private void Room(int more)
    {
        if (Length + more > buffer.Length)
        {
            Array.Resize(ref buffer, Math.Max(buffer.Length * 2, Length + more));
        }
    }
}

/// <summary>The checksum at the end of whatever is stored packed.</summary>
internal static class Seal
{
    public const int Length = sizeof(ulong);

    /// <returns>What was sealed.</returns>
    /// <exception cref="StoreException">It is not what was written.</exception>
    public static ReadOnlyMemory<byte> Open(byte[] stored, string what) => stored.Length >= Length
        && BinaryPrimitives.ReadUInt64LittleEndian(stored.AsSpan(stored.Length - Length)) == XxHash64.HashToUInt64(stored.AsSpan(0, stored.Length - Length))
        ? stored.AsMemory(0, stored.Length - Length)
        : throw new StoreException($"{what} is damaged: its checksum does not hold");
}

/// <summary>Reads what <see cref="PackedWriter"/> wrote.</summary>
/// <remarks>What is read was sealed; that its numbers make no sense is a fault of this program or of its version.</remarks>
internal struct PackedReader(ReadOnlyMemory<byte> bytes, int at = 0)
{
    public int At { get; private set; } = at;

    public readonly bool IsAtEnd => At >= bytes.Length;

    public byte Byte() => At < bytes.Length ? bytes.Span[At++] : throw Short();

    public ulong Number()
    {
        var span = bytes.Span;
        var (value, shift) = (0UL, 0);
        while (At < span.Length && shift < 64)
        {
            var next = span[At++];
            value |= (ulong)(next & 0x7f) << shift;
            if (next < 0x80)
            {
                return value;
            }

            shift += 7;
        }

        throw Short();
    }

    public long Signed() => Number() is var value ? (long)(value >> 1) ^ -(long)(value & 1) : 0;

    public int Count() => Number() is var count && count <= int.MaxValue ? (int)count : throw Short();

    public ReadOnlyMemory<byte> Bytes(int count)
    {
        if (count < 0 || count > bytes.Length - At)
        {
            throw Short();
        }

        At += count;
        return bytes.Slice(At - count, count);
    }

    private static StoreException Short() => new("a stored batch or block ends too early");
}
