using System.Buffers.Binary;
using System.Net.Sockets;
using System.Text;

namespace TankWatch.Service.Tests.Ingest;

/// <summary>MQTT packets as bytes, so that tests see what goes over the wire and not what a library makes of it.</summary>
internal static class Wire
{
    public const int Connect = 1;
    public const int ConnAck = 2;
    public const int Publish = 3;
    public const int PubAck = 4;
    public const int Subscribe = 8;
    public const int PingReq = 12;
    public const int PingResp = 13;
    public const int Disconnect = 14;

    /// <param name="Type">The packet's type, 1 to 15.</param>
    /// <param name="Flags">The low four bits of its first byte.</param>
    /// <param name="Body">What follows the remaining length.</param>
    public sealed record Packet(int Type, int Flags, byte[] Body)
    {
        /// <summary>Of a PUBACK, SUBSCRIBE or the like.</summary>
        public int Id => BinaryPrimitives.ReadUInt16BigEndian(Body);
    }

    public static byte[] Of(int type, int flags, params byte[][] body)
    {
        var whole = body.SelectMany(part => part).ToArray();
        var head = new List<byte> { (byte)((type << 4) | flags) };
        var left = whole.Length;
        do
        {
            head.Add((byte)((left & 127) | (left > 127 ? 128 : 0)));
            left >>= 7;
        }
        while (left > 0);
        return [.. head, .. whole];
    }

    /// <summary>No properties for MQTT 3.1.1; for MQTT 5 with their length in front.</summary>
    public static byte[] PublishOf(string topic, ushort id, byte[] payload, int flags = 0b0010, params byte[] properties) =>
        Of(Publish, flags, Text(topic), (flags & 0b0110) == 0 ? [] : Short(id), properties, payload);

    public static byte[] Short(int value) => [(byte)(value >> 8), (byte)value];

    public static byte[] Text(string text) => [.. Short(Encoding.UTF8.GetByteCount(text)), .. Encoding.UTF8.GetBytes(text)];

    /// <returns>Null when the other side has closed.</returns>
    public static async Task<Packet?> ReadAsync(NetworkStream stream, CancellationToken stop)
    {
        var one = new byte[1];
        if (await stream.ReadAsync(one, stop) == 0)
        {
            return null;
        }

        var (first, length, shift) = (one[0], 0, 0);
        do
        {
            await stream.ReadExactlyAsync(one, stop);
            length |= (one[0] & 127) << shift;
            shift += 7;
        }
        while (one[0] > 127);
        var body = new byte[length];
        await stream.ReadExactlyAsync(body, stop);
        return new(first >> 4, first & 15, body);
    }
}
