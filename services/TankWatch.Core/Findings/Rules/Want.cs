using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Supply;
using TankWatch.Core.Time;

namespace TankWatch.Core.Findings.Rules;

/// <summary>Why a tank will not be filled when it calls, and until when.</summary>
/// <param name="Since">Since when that is so, UTC.</param>
/// <param name="WaterFrom">Before this no water can be hoped for, UTC.</param>
/// <param name="More">Litres that can still be lifted into it.</param>
/// <param name="IsSupply">The sump wants water; else a pump is held.</param>
/// <param name="IsSettled">It lasts long enough not to be mended by itself.</param>
internal sealed record Want(DateTimeOffset Since, DateTimeOffset WaterFrom, double More, bool IsSupply, bool IsSettled)
{
    /// <summary>Standard deviations below which four fifths of a normal distribution lie.</summary>
    public const double EightyPercent = 0.8416;

    /// <summary>Voltage comes back and controls try again by themselves: a pump held longer than this waits for a hand.</summary>
    private static readonly TimeSpan Settles = TimeSpan.FromMinutes(30);

    /// <summary>Nobody mends a pump sooner than this, counted from now.</summary>
    private static readonly TimeSpan Mended = TimeSpan.FromHours(4);

    /// <summary>A supply of which nothing is known may come within this.</summary>
    private static readonly TimeSpan Supplied = TimeSpan.FromHours(6);

    /// <returns>Null when a pump can fill the tank, as far as is known.</returns>
    public static Want? Of(in RuleContext context, int tank)
    {
        Want? all = null;
        foreach (var pump in context.Plan.Pumps)
        {
            if (!pump.To.Contains(tank))
            {
                continue;
            }

            if (OfPump(context, pump) is not { } one)
            {
                return null;
            }

            all = all is null ? one : new(
                one.Since > all.Since ? one.Since : all.Since, one.WaterFrom < all.WaterFrom ? one.WaterFrom : all.WaterFrom,
                all.More + one.More, all.IsSupply && one.IsSupply, all.IsSettled && one.IsSettled);
        }

        return all;
    }

    public Estimate? HoursToEmpty(in RuleContext context, int tank, double sureness) =>
        Outlook.HoursToEmpty(context.Timeline, context.Plan, tank, More, context.Now, sureness);

    private static Want? OfPump(in RuleContext context, Pump pump)
    {
        var state = context.Timeline.Pumps[pump.Index];
        if (state.Running != false || !context.KnowsPump(pump.Index))
        {
            return null;
        }

        if (context.MainsOffSince() is { } dark)
        {
            return Held(context, dark, Settles);
        }

        // A unit may not tell that a hand has set its pump back to automatic: the word counts once it has stood for long.
        return state.ManualSince is { } manual ? Held(context, manual, LeftInManual.Resting)
            : IsTrip(state.Cause) ? Held(context, state.Since!.Value, Settles)
            : OfSump(context, pump, state.CutOutAt);
    }

    private static Want Held(in RuleContext context, DateTimeOffset since, TimeSpan settles) =>
        new(since, context.Now + Mended, 0, IsSupply: false, context.Now - since >= settles);

    private static bool IsTrip(PumpCause cause) =>
        cause is PumpCause.UnderVoltage or PumpCause.OverVoltage or PumpCause.Overload or PumpCause.DryRun or PumpCause.Power;

    private static Want? OfSump(in RuleContext context, Pump pump, DateTimeOffset? cutOut)
    {
        if (pump.From is not { } sump || context.Plan.Tanks[sump].Probes.Length < 2 || !context.KnowsTank(sump))
        {
            return null;
        }

        var water = context.Timeline.Tanks[sump];
        var dry = Moments.Earlier(cutOut, water.EmptySince);
        if ((dry ?? (water.IsWet(1) ? null : water.Probes[1].ChangedAt)) is not { } since
            || (dry is null ? Outlook.Drawable(context.Timeline, context.Plan, sump, context.Now) : 0) is not { } more)
        {
            return null;
        }

        var from = SupplyTimes.WaterFrom(context.Plan, water.Supply, context.Now) ?? context.Now + Supplied;
        return new(since, from, more, IsSupply: true, IsSettled: true);
    }
}
