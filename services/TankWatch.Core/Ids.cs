using System.Buffers;

namespace TankWatch.Core;

/// <summary>A site's id, as its file states it.</summary>
public readonly record struct SiteId(string Value)
{
    /// <summary>Of what belongs to no one site: an area's outage, a fault of this service.</summary>
    public static readonly SiteId None = new("");

    /// <summary>The made-up site by which the service watches itself; nobody else may have its name.</summary>
    public static readonly SiteId Own = new("tankwatch-itself");

    public bool IsNone => Value.Length == 0;

    public override string ToString() => Value;
}

/// <summary>A field unit's id: 1 to 64 of <c>A-Z a-z 0-9 . _ -</c>.</summary>
public readonly record struct UnitId(string Value) : IComparable<UnitId>
{
    public override string ToString() => Value;
    public int CompareTo(UnitId other) => string.CompareOrdinal(Value, other.Value);
    public static bool operator <(UnitId left, UnitId right) => left.CompareTo(right) < 0;
    public static bool operator >(UnitId left, UnitId right) => left.CompareTo(right) > 0;
    public static bool operator <=(UnitId left, UnitId right) => left.CompareTo(right) <= 0;
    public static bool operator >=(UnitId left, UnitId right) => left.CompareTo(right) >= 0;
}

/// <summary>What a finding is about within its site: a tank, a pump or a field unit. Unique within one site.</summary>
public readonly record struct DeviceId(string Value)
{
    public override string ToString() => Value;
}

/// <summary>The one rule for ids that travel in topics, routes and files.</summary>
public static class IdRule
{
    public const int MaxLength = 64;

    private static readonly SearchValues<char> Allowed = SearchValues.Create("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789._-");

    /// <summary>The rule in words.</summary>
    public const string InWords = "1 to 64 of A-Z a-z 0-9 . _ -, and neither . nor ..";

    /// <remarks>In an address <c>.</c> and <c>..</c> are steps along its path: no client would send them as an id.</remarks>
    public static bool Holds(string? value) =>
        value is { Length: > 0 and <= MaxLength } and not ("." or "..") && !value.AsSpan().ContainsAnyExcept(Allowed);
}
