using System.Buffers;
using System.Buffers.Binary;
using System.Security.Cryptography;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Snapshots;

/// <summary>A site's state as bytes and back: equal states make equal bytes, and what is read goes on exactly as what was written.</summary>
/// <remarks>
/// A snapshot only saves work: whatever it cannot vouch for is not read, and the site is judged again from its record. So there is one
/// version and no reading of older ones. Written by hand and not by a general serializer, which would need several times the bytes and
/// the time; a test walks the types and fails when a member is forgotten.
/// </remarks>
public static class SiteStateCodec
{
    /// <summary>Raise it with every change of the bytes, and with every change of a rule that would judge the same past differently.</summary>
    private const byte Version = 3;

    private const int ShapeAt = 1;
    private const int ChecksumAt = ShapeAt + sizeof(ulong);
    private const int BodyAt = ChecksumAt + sizeof(ulong);

    /// <param name="state">A state of this plan.</param>
    /// <param name="plan">What is installed.</param>
    /// <param name="output">Receives some 0.5 to 4 KB, and up to 16 KB more once its balance has learnt for weeks.</param>
    /// <exception cref="ArgumentException">The state names a device or unit that the plan has not.</exception>
    public static void Write(SiteState state, SitePlan plan, IBufferWriter<byte> output)
    {
        var body = new SnapshotWriter(plan);
        StateCodec.Write(body, state);
        var head = output.GetSpan(BodyAt);
        head[0] = Version;
        BinaryPrimitives.WriteUInt64LittleEndian(head[ShapeAt..], PlanShape.Of(plan).Fingerprint);
        BinaryPrimitives.WriteUInt64LittleEndian(head[ChecksumAt..], Checksum(body.Written));
        output.Advance(BodyAt);
        output.Write(body.Written);
    }

    /// <returns>Null for bytes of another version, of a plan of another shape, and for damaged ones.</returns>
    public static SiteState? Read(ReadOnlySpan<byte> snapshot, SitePlan plan)
    {
        if (snapshot.Length < BodyAt || snapshot[0] != Version
            || BinaryPrimitives.ReadUInt64LittleEndian(snapshot[ShapeAt..]) != PlanShape.Of(plan).Fingerprint
            || BinaryPrimitives.ReadUInt64LittleEndian(snapshot[ChecksumAt..]) != Checksum(snapshot[BodyAt..]))
        {
            return null;
        }

        var reader = new SnapshotReader(snapshot[BodyAt..], plan);
        var state = StateCodec.Read(ref reader);
        return reader.IsWhole ? state : null;
    }

    internal static ulong Checksum(ReadOnlySpan<byte> bytes)
    {
        Span<byte> hash = stackalloc byte[SHA256.HashSizeInBytes];
        SHA256.HashData(bytes, hash);
        return BinaryPrimitives.ReadUInt64LittleEndian(hash);
    }
}
