using System.Collections.Immutable;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;

namespace TankWatch.Service.Pages.Strips;

/// <summary>What was known of a building over a time, ready to be drawn: nothing is interpolated, and what is not known is absent.</summary>
/// <param name="Window">The time that is drawn.</param>
/// <param name="Water">One lane a tank with probes, in the order of the plan.</param>
/// <param name="Pumps">One lane a pump, in the order of the plan.</param>
/// <param name="Alerts">Those whose condition held at any time of the window, by onset.</param>
/// <param name="Supply">When the public supply is to run, by the site file.</param>
public sealed record Strip(
    StripWindow Window, ImmutableArray<WaterLane> Water, ImmutableArray<PumpLane> Pumps, ImmutableArray<AlertMark> Alerts, ImmutableArray<Stretch> Supply);

/// <summary>A stretch of time, its end excluded.</summary>
public readonly record struct Stretch(DateTimeOffset From, DateTimeOffset To);

/// <param name="Tank">Whose water.</param>
/// <param name="Known">In order, without overlap.</param>
/// <param name="Gaps">When nothing was known.</param>
public sealed record WaterLane(Tank Tank, ImmutableArray<WaterStretch> Known, ImmutableArray<Stretch> Gaps);

/// <summary>A time in which a tank held between two volumes, litres.</summary>
public readonly record struct WaterStretch(DateTimeOffset From, DateTimeOffset To, double Low, double High);

/// <param name="Pump">Whose runs.</param>
/// <param name="Runs">In order.</param>
/// <param name="Trips">Stops by a protection, in order.</param>
/// <param name="Gaps">When nothing was known.</param>
public sealed record PumpLane(Pump Pump, ImmutableArray<RunMark> Runs, ImmutableArray<TripMark> Trips, ImmutableArray<Stretch> Gaps);

/// <summary>A run, or several that stand too close to be drawn apart.</summary>
/// <param name="From">Start of the first.</param>
/// <param name="To">End of the last; the end of what is known while it runs.</param>
/// <param name="Runs">How many, at least 1.</param>
/// <param name="Manual">By hand, any of them.</param>
/// <param name="Running">It goes on.</param>
/// <param name="Lasted">Of all of them together.</param>
/// <param name="Litres">Of a single run: what it delivered; null if unknown.</param>
public readonly record struct RunMark(DateTimeOffset From, DateTimeOffset To, int Runs, bool Manual, bool Running, TimeSpan Lasted, Core.Estimate? Litres);

/// <param name="At">When the protection stopped the pump.</param>
/// <param name="Cause">Which.</param>
public readonly record struct TripMark(DateTimeOffset At, PumpCause Cause);

/// <param name="Id">The alert.</param>
/// <param name="From">Onset.</param>
/// <param name="To">When it ceased; the end of what is known while it holds.</param>
/// <param name="Open">It holds.</param>
/// <param name="Waits">Nobody has acknowledged it yet.</param>
/// <param name="Row">Brackets that overlap stand in different rows, from 0.</param>
/// <param name="Summary">One sentence.</param>
public readonly record struct AlertMark(string Id, DateTimeOffset From, DateTimeOffset To, bool Open, bool Waits, int Row, Phrase Summary);
