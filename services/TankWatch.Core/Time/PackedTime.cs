using System.Runtime.CompilerServices;

namespace TankWatch.Core.Time;

/// <summary>A moment or none in 8 bytes. States hold dozens of them in memory for every site, and each would take 24 as it is used.</summary>
internal readonly record struct PackedTime
{
    private readonly long ticksAndOne;

    private PackedTime(long ticksAndOne) => this.ticksAndOne = ticksAndOne;

    // Rules and steps convert hundreds of times a message.
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static implicit operator PackedTime(DateTimeOffset? at) => new(at is { } known ? known.UtcTicks + 1 : 0);

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    public static implicit operator DateTimeOffset?(PackedTime packed) =>
        packed.ticksAndOne == 0 ? null : new(packed.ticksAndOne - 1, TimeSpan.Zero);
}
