using System.Collections.Immutable;
using TankWatch.Core.Sites;
using TankWatch.Simulator.Faults;

namespace TankWatch.Simulator.Trials;

/// <summary>What is done to a water system in a trial.</summary>
public enum TrialSort
{
    Healthy,
    Leak,
    GrowingLeak,
    WeakPump,
    PumpDecline,
    RiserRestriction,
    BackDrain,
    SupplyFailure,
    ShortCycling,
    ProbeOff,
    Guests,
    HotDays,
    WeekendSurge,
    GardenWatering,
    LowVoltage,
    GuestsThenLeak,
    HotDaysThenWeakPump,
    RepairedLeak,
}

/// <summary>Something that was done to the system, or that its people did.</summary>
/// <param name="Label">What it is called where findings are compared with the truth.</param>
/// <param name="Benign">Nothing is wrong with the building.</param>
/// <param name="Onset">UTC.</param>
/// <param name="End">UTC; null lasts to the end.</param>
/// <param name="Size">In <paramref name="Unit"/>; null where size means nothing.</param>
/// <param name="Unit">Of the size.</param>
/// <param name="Device">The overhead tank it sits in; null where it sits in none.</param>
/// <param name="Faults">What the simulator is told.</param>
public sealed record TrialEvent(
    string Label, bool Benign, DateTimeOffset Onset, DateTimeOffset? End, double? Size, string Unit, string? Device, ImmutableArray<Fault> Faults);

/// <summary>What really flowed in one local day. Litres; delivery in litres per minute.</summary>
/// <param name="Date">Local.</param>
/// <param name="Demand">Out through taps.</param>
/// <param name="Leak">Out through leaks.</param>
/// <param name="BackDrain">Out of tanks, back through the pump.</param>
/// <param name="Pumped">Into tanks.</param>
/// <param name="PumpRuns">Starts.</param>
/// <param name="PumpMinutes">Of running.</param>
/// <param name="MeanDelivery">Null when the pump did not run.</param>
/// <param name="DryCutOuts">Stops because the sump was low.</param>
public sealed record TrialDay(
    DateOnly Date, double Demand, double Leak, double BackDrain, double Pumped, int PumpRuns, double PumpMinutes, double? MeanDelivery, int DryCutOuts);

/// <summary>What a trial gave: what its units said, and what was true.</summary>
public sealed record TrialRecord(ImmutableArray<SimulatedMessage> Messages, ImmutableArray<TrialDay> Days);

/// <summary>One water system over some weeks of its life, with something done to it or nothing.</summary>
/// <param name="Seed">Gives the same trial again.</param>
/// <param name="Sort">What was done.</param>
/// <param name="SiteFile">The site file, JSON.</param>
/// <param name="Plan">The same, read.</param>
/// <param name="Options">What is true besides.</param>
/// <param name="Events">What was done, in order of onset.</param>
/// <param name="Days">Local days, from the midnight at which it starts.</param>
/// <param name="MeanDemand">Use the people are made for. Litres a day.</param>
public sealed record Trial(
    ulong Seed, TrialSort Sort, string SiteFile, SitePlan Plan, SimulationOptions Options, ImmutableArray<TrialEvent> Events, int Days, double MeanDemand)
{
    public string Name => Plan.Id.Value;

    public DateTimeOffset End => Midnight(Days);

    /// <summary>Lives it from the first day to the last.</summary>
    public TrialRecord Run()
    {
        var site = new SimulatedSite(Plan, Options, Events.SelectMany(e => e.Faults));
        var messages = ImmutableArray.CreateBuilder<SimulatedMessage>();
        var days = ImmutableArray.CreateBuilder<TrialDay>(Days);
        var before = site.Truth;
        for (var day = 0; day < Days; day++)
        {
            var said = site.Advance(Midnight(day + 1));
            messages.AddRange(said);
            var after = site.Truth;
            days.Add(DayBetween(day, before, after, said.Count(m => m.Kind is "pump" && m.PayloadJson.Contains("\"sump-low\"", StringComparison.Ordinal))));
            before = after;
        }

        return new(messages.DrainToImmutable(), days.DrainToImmutable());
    }

    /// <summary>UTC of the local midnight that begins a day, counted from 0.</summary>
    public DateTimeOffset Midnight(int day)
    {
        var local = TimeZoneInfo.ConvertTime(Options.Start, Plan.TimeZone).Date.AddDays(day);
        return new DateTimeOffset(local, Plan.TimeZone.GetUtcOffset(local)).ToUniversalTime();
    }

    private TrialDay DayBetween(int day, Water.SiteTruth before, Water.SiteTruth after, int dryCutOuts)
    {
        var (was, pump) = (before.Pumps.Single().Value, after.Pumps.Single().Value);
        var (pumped, minutes) = (pump.DeliveredLitres - was.DeliveredLitres, (pump.RunSeconds - was.RunSeconds) / 60);
        return new(
            DateOnly.FromDateTime(TimeZoneInfo.ConvertTime(Midnight(day), Plan.TimeZone).Date),
            after.Balance.Used - before.Balance.Used, after.Balance.Leaked - before.Balance.Leaked, pump.BackDrainedLitres - was.BackDrainedLitres,
            pumped, pump.Starts - was.Starts, minutes, minutes > 0 ? pumped / minutes : null, dryCutOuts);
    }
}
