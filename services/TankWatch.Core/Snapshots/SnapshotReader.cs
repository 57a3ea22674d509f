using System.Buffers.Binary;
using System.Collections.Immutable;
using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;
using System.Text;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Snapshots;

/// <summary>Reads what <see cref="SnapshotWriter"/> wrote. It never throws: after anything that cannot be, all that follows reads as nothing.</summary>
internal ref struct SnapshotReader(ReadOnlySpan<byte> bytes, SitePlan plan)
{
    public delegate T Reads<out T>(ref SnapshotReader reader);

    private ReadOnlySpan<byte> rest = bytes;
    private bool failed;
    private long lastTicks;
    private List<string>? texts;

    public readonly SitePlan Plan => plan;

    /// <summary>Everything could be read, and nothing is left over.</summary>
    public readonly bool IsWhole => !failed && rest.IsEmpty;

    public bool Flag() => Whole8(1) == 1;

    public bool? MaybeFlag() => Whole8(2) switch { 1 => false, 2 => true, _ => null };

    public long Whole()
    {
        var value = 0UL;
        for (var shift = 0; shift < 64; shift += 7)
        {
            var next = Take(1);
            if (next.IsEmpty)
            {
                return 0;
            }

            value |= (ulong)(next[0] & 0x7F) << shift;
            if (next[0] < 0x80)
            {
                return (long)(value >> 1) ^ -(long)(value & 1);
            }
        }

        failed = true;
        return 0;
    }

    public long? MaybeWhole() => Flag() ? Whole() : null;

    /// <returns>At least <paramref name="min"/> and at most <paramref name="max"/>.</returns>
    public int Whole(int min, int max)
    {
        var value = Whole();
        failed |= value < min || value > max;
        return failed ? min : (int)value;
    }

    public T Name<T>() where T : struct, Enum
    {
        var value = Unsafe.BitCast<int, T>(Whole(0, int.MaxValue));
        failed |= !Enum.IsDefined(value);
        return value;
    }

    public double Number() => Take(sizeof(double)) is { IsEmpty: false } taken ? BinaryPrimitives.ReadDoubleLittleEndian(taken) : 0;

    public double? MaybeNumber() => Flag() ? Number() : null;

    public float Single() => Take(sizeof(float)) is { IsEmpty: false } taken ? BinaryPrimitives.ReadSingleLittleEndian(taken) : 0;

    public float[] Singles(int count) => Raw<float>(count);

    public short[] Shorts(int count) => Raw<short>(count);

    private T[] Raw<T>(int count) where T : unmanaged
    {
        var taken = Take(count * Unsafe.SizeOf<T>());
        return taken.IsEmpty ? [] : MemoryMarshal.Cast<byte, T>(taken).ToArray();
    }

    public long Ticks() => MaybeTime()?.UtcTicks ?? 0;

    public DateTimeOffset Time()
    {
        var written = Whole();
        var ticks = unchecked(lastTicks + ((written & 1) == 0 ? (written >> 1) * TimeSpan.TicksPerMillisecond : written >> 1));
        failed |= ticks < 0 || ticks > DateTime.MaxValue.Ticks;
        lastTicks = failed ? 0 : ticks;
        return new(lastTicks, TimeSpan.Zero);
    }

    public DateTimeOffset? MaybeTime() => Flag() ? Time() : null;

    public string Text()
    {
        texts ??= [];
        var known = Whole(-1, texts.Count - 1);
        if (known >= 0)
        {
            return failed ? "" : texts[known];
        }

        var text = Encoding.UTF8.GetString(Take(Whole(0, rest.Length)));
        texts.Add(text);
        return text;
    }

    public string? MaybeText() => Flag() ? Text() : null;

    public UnitId Unit()
    {
        var index = Whole(0, plan.Units.Length - 1);
        return failed ? default : plan.Units[index].Id;
    }

    public DeviceId Device()
    {
        var index = Whole(0, plan.Tanks.Length + plan.Pumps.Length + plan.Units.Length - 1);
        if (failed)
        {
            return default;
        }

        var (pump, unit) = (index - plan.Tanks.Length, index - plan.Tanks.Length - plan.Pumps.Length);
        return pump < 0 ? plan.Tanks[index].Id : unit < 0 ? plan.Pumps[pump].Id : new(plan.Units[unit].Id.Value);
    }

    /// <param name="read">One item; takes at least one byte, so that no length can ask for more memory than the bytes are worth.</param>
    /// <param name="exactly">How many there must be.</param>
    public ImmutableArray<T> List<T>(Reads<T> read, int exactly)
    {
        var items = ListUpTo(exactly, read);
        failed |= items.Length != exactly;
        return items;
    }

    /// <param name="most">How many there may be.</param>
    /// <param name="read">One item; takes at least one byte.</param>
    public ImmutableArray<T> ListUpTo<T>(int most, Reads<T> read)
    {
        var count = Whole(0, Math.Min(most, rest.Length));
        if (failed || count == 0)
        {
            return [];
        }

        var items = new T[count];
        for (var i = 0; i < count && !failed; i++)
        {
            items[i] = read(ref this);
        }

        return ImmutableCollectionsMarshal.AsImmutableArray(items);
    }

    /// <summary>Notes that what was read cannot be.</summary>
    public void Fail() => failed = true;

    private int Whole8(byte max)
    {
        var taken = Take(1);
        failed |= taken.IsEmpty || taken[0] > max;
        return failed ? 0 : taken[0];
    }

    private ReadOnlySpan<byte> Take(int count)
    {
        failed |= count > rest.Length;
        if (failed)
        {
            return [];
        }

        var taken = rest[..count];
        rest = rest[count..];
        return taken;
    }
}
