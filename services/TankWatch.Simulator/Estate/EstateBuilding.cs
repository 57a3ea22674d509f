using System.Collections.Immutable;
using TankWatch.Core.Sites;
using TankWatch.Simulator.Faults;

namespace TankWatch.Simulator;

/// <summary>A fault of the demonstration, told from its start; negative is before it.</summary>
public sealed record ScriptedFault(FaultKind Kind, string? Device, TimeSpan From, TimeSpan? To = null, double? Size = null, int? Probe = null)
{
    public Fault Against(DateTimeOffset demoStart) => new(Kind, Device, demoStart + From, demoStart + To, Size, Probe);
}

/// <summary>A top-up of the demonstration, told from its start; negative is before it.</summary>
public sealed record ScriptedTopUp(string Pump, TimeSpan At);

/// <summary>One building of the estate and what happens to it.</summary>
/// <param name="Id">Its site's id.</param>
/// <param name="Arrangement">What is particular about it, in a few words.</param>
/// <param name="SiteFile">JSON.</param>
/// <param name="Traits">What the site file does not say; its seed and start are put in by <see cref="Begin"/>.</param>
/// <param name="History">Faults with an onset before the demonstration starts; they may last on into it.</param>
/// <param name="Live">Faults that begin while it is watched.</param>
/// <param name="TopUps">Requests to fill up, before it or while it is watched.</param>
public sealed record EstateBuilding(
    string Id, string Arrangement, string SiteFile, SimulationOptions Traits,
    ImmutableArray<ScriptedFault> History, ImmutableArray<ScriptedFault> Live, ImmutableArray<ScriptedTopUp> TopUps)
{
    /// <summary>
    /// The building with its whole script. Advancing it to <paramref name="demoStart"/> gives the history; going on from there,
    /// the live feed.
    /// </summary>
    /// <param name="plan">The checked form of <see cref="SiteFile"/>.</param>
    /// <param name="seed">One for the whole estate will do.</param>
    /// <param name="demoStart">When the watching begins.</param>
    /// <param name="history">How long before that the units were installed; 0 or more.</param>
    public SimulatedSite Begin(SitePlan plan, ulong seed, DateTimeOffset demoStart, TimeSpan history)
    {
        var start = demoStart - history;
        var options = Traits with
        {
            Seed = seed,
            Start = start,
            TopUps = [.. TopUps.Select(t => new TopUpRequest(t.Pump, demoStart + t.At)).Where(t => t.At >= start)],
        };
        var faults = History.Concat(Live).Select(f => f.Against(demoStart)).Where(f => f.To is not { } to || to > start);
        return new SimulatedSite(plan, options, faults);
    }
}
