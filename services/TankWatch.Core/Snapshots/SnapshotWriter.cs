using System.Buffers.Binary;
using System.Collections.Immutable;
using System.Runtime.InteropServices;
using System.Text;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Snapshots;

/// <summary>Writes values one after another; what <see cref="SnapshotReader"/> reads in the same order.</summary>
internal sealed class SnapshotWriter(SitePlan plan)
{
    private byte[] buffer = new byte[1024];
    private int length;
    private long lastTicks;
    private Dictionary<string, int>? texts;

    public SitePlan Plan => plan;

    public ReadOnlySpan<byte> Written => buffer.AsSpan(0, length);

    public void Flag(bool value) => Room(1)[0] = value ? (byte)1 : (byte)0;

    public void MaybeFlag(bool? value) => Room(1)[0] = value switch { null => 0, false => 1, true => 2 };

    /// <summary>Few bytes for numbers near zero, of either sign.</summary>
    public void Whole(long value)
    {
        var rest = (ulong)((value << 1) ^ (value >> 63));
        for (; rest > 0x7F; rest >>= 7)
        {
            Room(1)[0] = (byte)(rest | 0x80);
        }

        Room(1)[0] = (byte)rest;
    }

    public void MaybeWhole(long? value)
    {
        Flag(value is not null);
        if (value is { } known)
        {
            Whole(known);
        }
    }

    public void Number(double value) => BinaryPrimitives.WriteDoubleLittleEndian(Room(sizeof(double)), value);

    public void MaybeNumber(double? value)
    {
        Flag(value is not null);
        if (value is { } known)
        {
            Number(known);
        }
    }

    public void Single(float value) => BinaryPrimitives.WriteSingleLittleEndian(Room(sizeof(float)), value);

    public void Singles(ReadOnlySpan<float> values) => Raw(MemoryMarshal.AsBytes(values));

    public void Shorts(ReadOnlySpan<short> values) => Raw(MemoryMarshal.AsBytes(values));

    /// <summary>A time that may be none, which is 0.</summary>
    public void Ticks(long ticks) => MaybeTime(ticks == 0 ? null : new(ticks, TimeSpan.Zero));

    /// <summary>As the distance from the time written before it: times of one site lie close together, mostly on whole milliseconds.</summary>
    public void Time(DateTimeOffset at)
    {
        var distance = at.UtcTicks - lastTicks;
        var (milliseconds, rest) = Math.DivRem(distance, TimeSpan.TicksPerMillisecond);
        Whole(rest == 0 ? milliseconds << 1 : (distance << 1) | 1);
        lastTicks = at.UtcTicks;
    }

    public void MaybeTime(DateTimeOffset? at)
    {
        Flag(at is not null);
        if (at is { } known)
        {
            Time(known);
        }
    }

    /// <summary>Written out once; what several findings say alike is pointed at.</summary>
    public void Text(string value)
    {
        texts ??= new(StringComparer.Ordinal);
        if (texts.TryGetValue(value, out var known))
        {
            Whole(known);
            return;
        }

        Whole(-1);
        texts.Add(value, texts.Count);
        var bytes = Encoding.UTF8.GetByteCount(value);
        Whole(bytes);
        Encoding.UTF8.GetBytes(value, Room(bytes));
    }

    public void MaybeText(string? value)
    {
        Flag(value is not null);
        if (value is not null)
        {
            Text(value);
        }
    }

    public void Unit(UnitId unit) => Whole(plan.FindUnit(unit)?.Index ?? throw new ArgumentException($"the plan has no unit {unit}", nameof(unit)));

    /// <summary>As its place among the plan's tanks, pumps and units.</summary>
    public void Device(DeviceId device) => Whole(
        plan.FindTank(device.Value)?.Index
        ?? plan.Tanks.Length + plan.FindPump(device.Value)?.Index
        ?? plan.Tanks.Length + plan.Pumps.Length + plan.FindUnit(new(device.Value))?.Index
        ?? throw new ArgumentException($"the plan has no device {device}", nameof(device)));

    public void List<T>(ImmutableArray<T> items, Action<SnapshotWriter, T> write)
    {
        Whole(items.Length);
        foreach (var item in items)
        {
            write(this, item);
        }
    }

    /// <remarks>As the machine has them: a snapshot never leaves the kind of machine it was made on, and little-endian ones are all there are.</remarks>
    private void Raw(ReadOnlySpan<byte> bytes) => bytes.CopyTo(Room(bytes.Length));

    private Span<byte> Room(int bytes)
    {
        if (buffer.Length - length < bytes)
        {
            Array.Resize(ref buffer, Math.Max(buffer.Length * 2, length + bytes));
        }

        var room = buffer.AsSpan(length, bytes);
        length += bytes;
        return room;
    }
}
