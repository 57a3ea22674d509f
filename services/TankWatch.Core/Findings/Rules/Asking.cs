using TankWatch.Core.Sites;
using TankWatch.Core.Texts;
using TankWatch.Core.Time;

namespace TankWatch.Core.Findings.Rules;

/// <summary>What several rules ask of a site, said once.</summary>
internal static class Asking
{
    public static bool KnowsPump(this in RuleContext context, int pump) =>
        context.Timeline.PumpKnownUntil(context.Plan, pump) > context.Now;

    public static bool KnowsTank(this in RuleContext context, int tank) =>
        context.Timeline.TankKnownUntil(context.Plan, tank) > context.Now && context.Timeline.Tanks[tank].Wet is not null;

    /// <summary>Since when every tank served has its top probe wet; null when one has not, or is not known.</summary>
    public static DateTimeOffset? AllFullSince(this in RuleContext context, Pump pump)
    {
        DateTimeOffset? latest = null;
        foreach (var tank in pump.To)
        {
            if (!context.KnowsTank(tank) || context.Timeline.Tanks[tank].FullSince is not { } since)
            {
                return null;
            }

            latest = Moments.Later(latest, since);
        }

        return latest;
    }

    /// <summary>What the pump delivers, litres per minute: as its runs showed, else as rated; null when neither is known.</summary>
    public static double? Delivery(this in RuleContext context, Pump pump) =>
        context.Timeline.Pumps[pump.Index].Deliveries.Median ?? pump.RatedDelivery?.Value;

    /// <summary>The cause of a finding as long as the evidence does not tell causes apart.</summary>
    public const string Undetermined = "undetermined";

    /// <summary>A real set gives 40 to 80 % of its rating (common practice, no source).</summary>
    public const double WorstShareOfRating = 0.4;

    /// <summary>Longer than any filling; a file may state numbers that come to more than a span can hold.</summary>
    private static readonly TimeSpan LongestWait = TimeSpan.FromDays(30);

    /// <summary>How long a rule waits for water.</summary>
    /// <param name="minutes">As the site's numbers have it; at least 0, without an upper bound.</param>
    /// <returns>At most 30 days.</returns>
    public static TimeSpan Wait(double minutes) => minutes < LongestWait.TotalMinutes ? TimeSpan.FromMinutes(minutes) : LongestWait;

    /// <summary>Litres between the lowest and the highest probe of the tank that has the fewest, of those the pump feeds.</summary>
    public static double BandOf(SitePlan plan, Pump pump) =>
        pump.To.Min(tank => plan.Tanks[tank].Probes[^1].Volume.Value - plan.Tanks[tank].Probes[0].Volume.Value);

    /// <summary>Whether any unit says that the mains are off.</summary>
    public static bool MainsAreOff(this in RuleContext context) => context.MainsOffSince() is not null;

    /// <summary>Since when the first unit that says so has the mains off; null when none does.</summary>
    public static DateTimeOffset? MainsOffSince(this in RuleContext context)
    {
        DateTimeOffset? since = null;
        foreach (var unit in context.Timeline.Units)
        {
            since = Moments.Earlier(since, unit.MainsOffSince);
        }

        return since;
    }

    public static PhraseList NamesOf(SitePlan plan, IEnumerable<int> tanks) =>
        PhraseList.Of(ListStyle.And, tanks.Select(t => (PhraseValue)plan.Tanks[t].Id.Value));

    /// <summary>A length of time in the words of daily life.</summary>
    public static Phrase Lasting(TimeSpan time) => time switch
    {
        { TotalSeconds: < 100 } => Phrase.Of("span.seconds", ("n", Math.Round(time.TotalSeconds))),
        { TotalMinutes: < 100 } => Phrase.Of("span.minutes", ("n", Math.Round(time.TotalMinutes))),
        { TotalHours: < 48 } => Phrase.Of("span.hours", ("n", Math.Round(time.TotalHours))),
        _ => Phrase.Of("span.days", ("n", Math.Round(time.TotalDays))),
    };

    public static Phrase Lasting(double seconds) => Lasting(TimeSpan.FromSeconds(seconds));

    /// <summary>As exact as it deserves: below ten to a tenth.</summary>
    public static double Plain(double value) => Math.Round(value, Math.Abs(value) < 10 ? 1 : 0, MidpointRounding.AwayFromZero);
}
