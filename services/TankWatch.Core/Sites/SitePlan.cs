using System.Collections.Immutable;
using System.Numerics;

namespace TankWatch.Core.Sites;

public enum TankRole { Overhead, Sump }

/// <param name="Name">What the installer calls it.</param>
/// <param name="Volume">What the tank holds when the surface just touches this probe.</param>
public sealed record Probe(string Name, Litres Volume);

/// <summary>A tank and its probes, from the lowest to the highest.</summary>
public sealed record Tank(DeviceId Id, TankRole Role, Litres Capacity, ImmutableArray<Probe> Probes, Litres FireReserve)
{
    public int Index { get; init; }

    /// <summary>What the tank can hold while exactly these probes are wet, litres.</summary>
    /// <param name="wet">Bit i set when probe i, counted from the lowest, is wet.</param>
    /// <returns>Null for a tank without probes.</returns>
    public (double Low, double High)? Bounds(int wet)
    {
        if (Probes.IsEmpty)
        {
            return null;
        }

        // With an impossible order nothing says which probe lies: the bounds take in both readings.
        var sure = BitOperations.TrailingZeroCount(~wet);
        var most = 32 - BitOperations.LeadingZeroCount((uint)wet);
        return (sure == 0 ? 0 : Probes[sure - 1].Volume.Value, most == Probes.Length ? Capacity.Value : Probes[most].Volume.Value);
    }
}

/// <summary>A pump, what it draws from and what it feeds, and the limits of its motor.</summary>
/// <param name="Id">Unique within the site.</param>
/// <param name="From">Index of the sump in <see cref="SitePlan.Tanks"/>; null for a bore or a sump nobody measures.</param>
/// <param name="To">Indices of the tanks on its riser, at least one.</param>
/// <param name="RatedWatts">Rated input, if given.</param>
/// <param name="RatedDelivery">Rated delivery, if given. A ceiling: a real set gives 40 to 80 % of it (common practice, no source).</param>
/// <param name="StaticLiftMetres">If given.</param>
/// <param name="MaxStartsPerHour">Starts the motor stands in any 60 minutes.</param>
/// <param name="MaxStartsAssumed">The site file did not say; 6 stands in (common practice, no source).</param>
/// <param name="MinRun">The shortest run that does the motor no harm.</param>
/// <param name="MinRunAssumed">The site file did not say; 90 s stands in (common practice, no source).</param>
/// <param name="Riser">Volume of the riser, if given.</param>
/// <param name="DryRunDetector">A wetness detector sits at the tank inlet.</param>
public sealed record Pump(
    DeviceId Id,
    int? From,
    ImmutableArray<int> To,
    double? RatedWatts,
    LitresPerMinute? RatedDelivery,
    double? StaticLiftMetres,
    double MaxStartsPerHour,
    bool MaxStartsAssumed,
    TimeSpan MinRun,
    bool MinRunAssumed,
    Litres? Riser,
    bool DryRunDetector)
{
    public int Index { get; init; }
}

/// <summary>A field unit and the devices whose state it reports.</summary>
/// <param name="Id">The unit's id.</param>
/// <param name="Tanks">Indices into <see cref="SitePlan.Tanks"/>.</param>
/// <param name="Pumps">Indices into <see cref="SitePlan.Pumps"/>.</param>
public sealed record FieldUnit(UnitId Id, ImmutableArray<int> Tanks, ImmutableArray<int> Pumps)
{
    public int Index { get; init; }

    /// <summary>For a unit that speaks Sparkplug B.</summary>
    public SparkplugMapping? Sparkplug { get; init; }
}

/// <summary>A span of the local day in which the public supply runs; an end before its start runs past midnight.</summary>
public readonly record struct SupplyHours(TimeOnly From, TimeOnly To);

/// <summary>What is installed at a site, and its limits: the checked form of a site file.</summary>
public sealed record SitePlan(
    SiteId Id,
    string Name,
    TimeZoneInfo TimeZone,
    int? Residents,
    double? ElectricityPricePerKwh,
    string? Currency,
    ImmutableArray<Tank> Tanks,
    ImmutableArray<Pump> Pumps,
    ImmutableArray<FieldUnit> Units,
    string? Area,
    (double Latitude, double Longitude)? Coordinates,
    ImmutableArray<SupplyHours> SupplyHours,
    ImmutableArray<Contact> Contacts)
{
    public Escalation Escalation { get; init; } = Escalation.Usual;

    public Tank? FindTank(string id) => Find(Tanks, id, t => t.Id.Value);
    public Pump? FindPump(string id) => Find(Pumps, id, p => p.Id.Value);
    public FieldUnit? FindUnit(UnitId id) => Find(Units, id.Value, u => u.Id.Value);

    private static T? Find<T>(ImmutableArray<T> items, string id, Func<T, string> idOf) where T : class
    {
        foreach (var item in items)
        {
            if (string.Equals(idOf(item), id, StringComparison.Ordinal))
            {
                return item;
            }
        }

        return null;
    }
}
