using TankWatch.Core;
using TankWatch.Core.FieldMessages;

namespace TankWatch.Service.Storage.Series;

/// <summary>What belongs in one order: the messages of one kind about one device by one unit of a site.</summary>
/// <param name="Site">Of the unit, when the message came.</param>
/// <param name="Unit">Whose word.</param>
/// <param name="Kind">Of message.</param>
/// <param name="Device">A tank or pump; empty where the kind names none.</param>
internal readonly record struct Stream(SiteId Site, UnitId Unit, MessageKind Kind, string Device);

/// <summary>One message as the series keeps it. Times are ticks of 100 ns, UTC.</summary>
/// <param name="At">When it happened, by whose clock was believed.</param>
/// <param name="Received">When it came.</param>
/// <param name="Claimed">What the unit said of the time; null for nothing.</param>
/// <param name="Boot">The unit's count of restarts; null without.</param>
/// <param name="Seq">The unit's count of messages since; null without.</param>
/// <param name="Retained">It was the broker's copy.</param>
/// <param name="Content">See <see cref="RowContent"/>.</param>
internal readonly record struct SeriesRow(
    long At, long Received, long? Claimed, long? Boot, long? Seq, bool Retained, ReadOnlyMemory<byte> Content) : IComparable<SeriesRow>
{
    /// <summary>The unit counts its messages: its counts say which this is, whatever else it says.</summary>
    public bool IsCounted => Boot is not null && Seq is not null;

    /// <summary>Rows of one stream in the order of <see cref="Core.Observations.Stamp"/>, and where that is equal, by content.</summary>
    public int CompareTo(SeriesRow other)
    {
        var order = At.CompareTo(other.At);
        order = order != 0 ? order : Nullable.Compare(Boot, other.Boot);
        order = order != 0 ? order : Nullable.Compare(Seq, other.Seq);
        return order != 0 ? order : Content.Span.SequenceCompareTo(other.Content.Span);
    }

    /// <summary>Both are one message, within a stream.</summary>
    public bool IsSameAs(in SeriesRow other) => IsCounted
        ? Boot == other.Boot && Seq == other.Seq
        : !other.IsCounted && At == other.At && Boot == other.Boot && Seq == other.Seq && Content.Span.SequenceEqual(other.Content.Span);
}

/// <summary>Packs rows, each against the one before it: rows in order differ little.</summary>
internal static class RowCodec
{
    private const int Retained = 1, WholeAt = 2, WholeReceived = 4, Claims = 8, ClaimIsAt = 16, HasBoot = 32, HasSeq = 64, SameBoot = 128;

    /// <summary>What the next row is packed against.</summary>
    public readonly record struct Before(long At, long Boot, long Seq)
    {
        public static Before Of(in SeriesRow row, in Before before) => new(row.At, row.Boot ?? before.Boot, row.Seq ?? before.Seq);
    }

    public static void Write(PackedWriter into, in SeriesRow row, in Before before)
    {
        var (at, received) = (row.At - before.At, row.Received - row.At);
        var (wholeAt, wholeReceived) = (at % TimeSpan.TicksPerMillisecond == 0, received % TimeSpan.TicksPerMillisecond == 0);
        var sameBoot = row.Boot == before.Boot;
        into.Byte((byte)(
            (row.Retained ? Retained : 0) | (wholeAt ? WholeAt : 0) | (wholeReceived ? WholeReceived : 0) | (row.Claimed is null ? 0 : Claims)
            | (row.Claimed == row.At ? ClaimIsAt : 0) | (row.Boot is null ? 0 : HasBoot) | (row.Seq is null ? 0 : HasSeq) | (sameBoot ? SameBoot : 0)));
        into.Signed(wholeAt ? at / TimeSpan.TicksPerMillisecond : at);
        into.Signed(wholeReceived ? received / TimeSpan.TicksPerMillisecond : received);
        if (row.Claimed is { } claimed && claimed != row.At)
        {
            into.Signed(claimed - row.At);
        }

        if (row.Boot is { } boot && !sameBoot)
        {
            into.Number((ulong)boot);
        }

        if (row.Seq is { } seq)
        {
            into.Signed(seq - before.Seq);
        }

        into.Number((ulong)row.Content.Length);
        into.Bytes(row.Content.Span);
    }

    public static SeriesRow Read(ref PackedReader from, in Before before)
    {
        var flags = from.Byte();
        var at = before.At + (from.Signed() * ((flags & WholeAt) != 0 ? TimeSpan.TicksPerMillisecond : 1));
        var received = at + (from.Signed() * ((flags & WholeReceived) != 0 ? TimeSpan.TicksPerMillisecond : 1));
        long? claimed = (flags & Claims) == 0 ? null : (flags & ClaimIsAt) != 0 ? at : at + from.Signed();
        long? boot = (flags & HasBoot) == 0 ? null : (flags & SameBoot) != 0 ? before.Boot : (long)from.Number();
        long? seq = (flags & HasSeq) == 0 ? null : before.Seq + from.Signed();
        return new(at, received, claimed, boot, seq, (flags & Retained) != 0, from.Bytes(from.Count()));
    }
}
