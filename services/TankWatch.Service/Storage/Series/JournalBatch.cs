using Microsoft.Data.Sqlite;
using TankWatch.Core;
using TankWatch.Core.FieldMessages;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;

namespace TankWatch.Service.Storage.Series;

/// <summary>A message to journal.</summary>
/// <param name="Plan">Of its site.</param>
/// <param name="Accepted">What it says.</param>
/// <param name="Retained">It is the broker's copy.</param>
internal sealed record JournalEntry(SitePlan Plan, Decoded.Accepted Accepted, bool Retained)
{
    /// <summary>The publisher's span; not journalled.</summary>
    public string? Trace { get; init; }

    public UnitId Unit => Accepted.Seen.Stamp.Unit;

    public Stream Stream => new(Plan.Id, Unit, Accepted.Kind, Accepted.Seen switch
    {
        LevelObservation level => Plan.Tanks[level.Tank].Id.Value,
        PumpObservation pump => Plan.Pumps[pump.Pump].Id.Value,
        InletObservation inlet => Plan.Pumps[inlet.Pump].Id.Value,
        _ => "",
    });
}

/// <summary>A batch that waits to be written: what of it is new, packed.</summary>
internal sealed class StagedBatch
{
    private readonly PackedWriter packed = new(4096);
    private readonly PackedWriter content = new();
    private readonly List<(int Index, SeriesRow Row)> uncounted = [];

    public StagedBatch(IReadOnlyList<JournalEntry> entries)
    {
        IsNew = new bool[entries.Count];
        Base = new(entries.Count > 0 ? entries[0].Accepted.Seen.Stamp.ReceivedAt.UtcTicks : 0, 0, 0);
        packed.Byte(JournalBatch.Format);
        packed.Signed(Base.At);
    }

    public bool[] IsNew { get; }

    /// <summary>Where each new row stands, and when it happened.</summary>
    public List<(int Stream, int Offset, long At)> Rows { get; } = [];

    public List<(int Number, Stream Stream)> NewStreams { get; } = [];

    public RowCodec.Before Base { get; }

    /// <returns>Valid until the next call.</returns>
    public ReadOnlyMemory<byte> ContentOf(JournalEntry entry)
    {
        content.Clear();
        RowContent.Write(content, entry.Accepted.Seen, entry.Plan);
        return content.Memory;
    }

    public static SeriesRow RowOf(JournalEntry entry, ReadOnlyMemory<byte> content)
    {
        var stamp = entry.Accepted.Seen.Stamp;
        return new(stamp.At.UtcTicks, stamp.ReceivedAt.UtcTicks, stamp.ClaimedAt?.UtcTicks, stamp.Boot, stamp.Seq, entry.Retained, content);
    }

    public void Add(int entry, int stream, in SeriesRow row)
    {
        IsNew[entry] = true;
        packed.Number((ulong)stream);
        Rows.Add((stream, packed.Length, row.At));
        RowCodec.Write(packed, row, Base);
        if (!row.IsCounted)
        {
            uncounted.Add((stream, row with { Content = row.Content.ToArray() }));
        }
    }

    public bool Has(int stream, SeriesRow row) => uncounted.Exists(known => known.Index == stream && known.Row.IsSameAs(row));

    /// <summary>Writes the batch; call it within <see cref="Database.Write{T}"/>.</summary>
    /// <returns>Null when nothing of it was new.</returns>
    public JournalBatch? Write(SqliteConnection connection)
    {
        foreach (var (number, stream) in NewStreams)
        {
            connection.Execute(
                "INSERT INTO streams (id, site, unit, kind, device) VALUES (?1, ?2, ?3, ?4, ?5)",
                number, stream.Site, stream.Unit, FieldMessageDecoder.NameOf(stream.Kind), stream.Device);
        }

        if (Rows.Count == 0)
        {
            return null;
        }

        var data = packed.Sealed();
        return JournalBatch.Open((long)connection.Scalar("INSERT INTO journal (batch) VALUES (?1) RETURNING id", data)!, data);
    }
}

/// <summary>One group commit of the journal: rows in order of receipt, each packed for itself, so that any of them can be read alone.</summary>
internal sealed class JournalBatch
{
    public const byte Format = 1;

    private readonly int first;

    private JournalBatch(long id, ReadOnlyMemory<byte> packed, RowCodec.Before @base, int first) =>
        (Id, Packed, Base, this.first) = (id, packed, @base, first);

    /// <summary>Its position in the journal.</summary>
    public long Id { get; }

    public ReadOnlyMemory<byte> Packed { get; }

    public RowCodec.Before Base { get; }

    /// <exception cref="StoreException">It is damaged.</exception>
    public static JournalBatch Open(long id, byte[] data)
    {
        var packed = Seal.Open(data, $"batch {id} of the journal");
        var from = new PackedReader(packed);
        return from.Byte() == Format ? new(id, packed, new(from.Signed(), 0, 0), from.At)
            : throw new StoreException("the journal was written by a newer version of the program");
    }

    public IEnumerable<TailRow> Rows()
    {
        var from = new PackedReader(Packed, first);
        while (!from.IsAtEnd)
        {
            var (stream, offset) = (from.Count(), from.At);
            yield return new(this, offset, stream, RowCodec.Read(ref from, Base).At);
        }
    }

    public static IEnumerable<(int Number, Stream Stream)> ReadStreams(SqliteConnection connection) => connection.List(
        "SELECT id, site, unit, kind, device FROM streams ORDER BY id",
        row => (row.GetInt32(0), new Stream(
            new(row.GetString(1)), new(row.GetString(2)),
            FieldMessageDecoder.FindKind(row.GetString(3)) ?? throw new StoreException($"a stream of kind {row.GetString(3)}: the store was made by a newer version"),
            row.GetString(4))));
}
