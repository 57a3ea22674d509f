using System.Globalization;
using TankWatch.Core.Balance;
using TankWatch.Core.Findings;
using TankWatch.Core.Findings.Rules;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Time;

namespace TankWatch.Core.Timelines;

/// <summary>What a caretaker wants to hear of a site: its water, and its pumps.</summary>
/// <remarks>
/// Time of day comes first where it is known, for it is what people compare with their own day. What is old is told in the past
/// tense. Of more than <see cref="ToldOneByOne"/> tanks or pumps the ones that matter are told, and the rest together.
/// </remarks>
public static class SiteSentences
{
    private const int ToldOneByOne = 3;
    private const int ToldOfMany = 2;

    /// <summary>No unit of the site has said a word that was taken.</summary>
    public static bool IsUnheard(SiteState state) => state.Timeline.Units.All(unit => unit.Last is null);

    /// <summary>What the overhead tanks hold, as bounds, and any sump that is empty; the sumps where there is no other tank.</summary>
    /// <param name="plan">What is installed.</param>
    /// <param name="state">As it is known now.</param>
    /// <param name="now">Wall clock, UTC.</param>
    public static string Water(SitePlan plan, SiteState state, DateTimeOffset now)
    {
        if (IsUnheard(state))
        {
            return "Nothing has been heard of it yet.";
        }

        // A sump without probes says nothing: it is left out, not told as empty or unknown.
        var sumps = plan.Tanks.Where(t => t.Role == TankRole.Sump && !t.Probes.IsEmpty).Select(Of).ToList();
        var overhead = plan.Tanks.Where(t => t.Role == TankRole.Overhead).Select(Of).ToList();
        return overhead.Count > 0 ? Joined([.. Told(overhead), .. Told([.. sumps.Where(sump => sump.IsEmpty)])])
            : sumps.Count > 0 ? Joined(Told(sumps))
            : "No water is measured here.";

        Standing Of(Tank tank) => Standing.Of(plan, tank, state.Timeline, now);
    }

    /// <summary>Whether each pump runs or rests, since when, and what stopped it where that matters.</summary>
    /// <param name="plan">What is installed.</param>
    /// <param name="state">As it is known now.</param>
    /// <param name="now">Wall clock, UTC.</param>
    public static string Pumps(SitePlan plan, SiteState state, DateTimeOffset now)
    {
        if (plan.Pumps.Length <= ToldOneByOne)
        {
            return plan.Pumps.IsEmpty ? "No pump is monitored here." : Joined(plan.Pumps.Select(Sentence));
        }

        var ordered = plan.Pumps.OrderBy(Matters).ToList();
        var rest = ordered.Skip(ToldOfMany).Select(pump => IsKnown(pump) ? state.Timeline.Pumps[pump.Index].Running : null).ToList();
        var counts = new[] { (rest.Count(r => r == true), "running"), (rest.Count(r => r == false), "at rest"), (rest.Count(r => r is null), "not known") };
        var told = string.Join(", ", counts.Where(count => count.Item1 > 0).Select(count => $"{count.Item1} {count.Item2}"));
        return Joined([.. ordered.Take(ToldOfMany).Select(Sentence), $"Of {rest.Count} more pumps: {told}."]);

        string Sentence(Pump pump) => PumpSentence(plan, pump, state.Timeline, now);

        bool IsKnown(Pump pump) => state.Timeline.PumpKnownUntil(plan, pump.Index) > now;

        // First what a safeguard stopped or a hand holds, then what runs.
        int Matters(Pump pump) => state.Timeline.Pumps[pump.Index] switch
        {
            { Running: null } => 3,
            { IsManual: true } => 0,
            { Running: false } resting when Why(pump, resting.Cause) != "" => 0,
            { Running: true } => 1,
            _ => 2,
        };
    }

    private static IEnumerable<string> Told(List<Standing> tanks)
    {
        if (tanks.Count <= ToldOneByOne)
        {
            return tanks.Select(tank => tank.Sentence);
        }

        var ordered = tanks.OrderBy(tank => tank.Share).ToList();
        var first = ordered.Where(tank => tank.IsKnown).Take(ToldOfMany).ToList();
        var rest = ordered.Except(first).ToList();
        var (known, unknown) = (rest.Where(tank => tank.IsKnown).ToList(), rest.Count(tank => !tank.IsKnown));
        var sentences = first.Select(tank => tank.Sentence).ToList();
        if (known.Count > 0)
        {
            sentences.Add($"{known.Count} more {(known.Count == 1 ? "holds" : "hold")} between {Litres(known.Min(t => t.Low))} and {Litres(known.Max(t => t.High))} litres{(known.Count == 1 ? "" : " each")}.");
        }

        if (unknown > 0)
        {
            sentences.Add($"What {unknown}{(first.Count > 0 ? " more" : " tanks")} {(unknown == 1 ? "holds" : "hold")} now is not known.");
        }

        return sentences;
    }

    private static string PumpSentence(SitePlan plan, Pump pump, SiteTimeline timeline, DateTimeOffset now)
    {
        var state = timeline.Pumps[pump.Index];
        if (state.Running is not { } running)
        {
            return $"Nothing is known of pump {pump.Id} yet.";
        }

        var rest = $"{(running ? "" : Why(pump, state.Cause))}{(state.IsManual ? ", in manual mode" : "")}.";
        if (timeline.PumpKnownUntil(plan, pump.Index) is not { } until || until <= now)
        {
            var ago = timeline.PumpKnownUntil(plan, pump.Index) is { } held ? $"{Asking.Lasting(now - (held - SiteTimeline.WordHolds))} ago" : "When last heard of";
            return $"{ago} pump {pump.Id} was {(running ? "running" : "at rest")}{rest}";
        }

        return $"Since {LocalClock.Near(state.Since!.Value, now, plan.TimeZone)} pump {pump.Id} has been {(running ? "running" : "at rest")}{rest}";
    }

    private static string Why(Pump pump, PumpCause cause) => cause switch
    {
        PumpCause.SumpLow => pump.From is null ? ", stopped because its source ran low" : ", stopped by an empty sump",
        PumpCause.DryRun => ", stopped because no water came",
        PumpCause.UnderVoltage => ", stopped by low voltage",
        PumpCause.OverVoltage => ", stopped by high voltage",
        PumpCause.Overload => ", stopped by overload",
        PumpCause.Power => ", stopped by a power cut",
        _ => "",
    };

    /// <summary>Whole litres with a thin space between thousands, as in "12 400".</summary>
    private static string Litres(double value) => value < 10 ? Asking.Plain(value)
        : Math.Round(value).ToString("#,0", CultureInfo.InvariantCulture).Replace(',', '\u202f');

    private static string Joined(IEnumerable<string> sentences) => string.Join(" ", sentences);

    /// <summary>How the water stands in one tank.</summary>
    /// <param name="Sentence">In words.</param>
    /// <param name="IsKnown">The word still holds, and the probes can be believed.</param>
    /// <param name="IsEmpty">Below the lowest probe.</param>
    /// <param name="Low">Litres to use, at least.</param>
    /// <param name="High">Litres to use, at most.</param>
    /// <param name="Share">Order of a list: -1 when empty, else what it surely holds of its capacity, 0 to 1.</param>
    private sealed record Standing(string Sentence, bool IsKnown, bool IsEmpty, double Low, double High, double Share)
    {
        public static Standing Of(SitePlan plan, Tank tank, SiteTimeline timeline, DateTimeOffset now)
        {
            var water = timeline.Tanks[tank.Index];
            var name = tank.Role != TankRole.Sump ? $"tank {tank.Id}" : tank.Id.Value == "sump" ? "the sump" : $"sump {tank.Id}";
            if (water.SeenAt is not { } seen)
            {
                return Unknown($"Nothing is known of the water in {tank.Id} yet.");
            }

            var holds = timeline.TankKnownUntil(plan, tank.Index) > now;
            var ago = $"{Asking.Lasting(now - seen)} ago";
            if (water.CommonLostSince is not null)
            {
                return Unknown(holds ? $"What {tank.Id} holds is not known: its probes fail." : $"What {tank.Id} holds is not known: its probes failed {ago}.");
            }

            var (low, high) = water.Bounds(tank) ?? (0, tank.Capacity.Value);
            low = Math.Max(0, low - tank.FireReserve.Value);
            high = Math.Max(0, high - tank.FireReserve.Value);
            var reserve = tank.FireReserve.Value > 0 ? " above the fire reserve" : "";
            var between = $"between {Litres(low)} and {Litres(high)} litres";
            var (since, verb, past, bounds) = (water.EmptySince, water.FullSince) switch
            {
                _ when water.DisorderSince is not null => (null, "holds", "held", $"{between}, as far as its probes can be believed"),
                ({ } empty, _) => (empty, "is below its lowest probe:", "was below its lowest probe:", $"{Litres(high)} litres or less"),
                (_, { } full) => (full, "is full:", "was full:", $"{Litres(low)} litres or more"),
                _ => (Passed(water) is { } passed ? passed.At : (DateTimeOffset?)null, Moved(water), "held", between),
            };
            var words = !holds ? $"{ago} {name} {past}"
                : since is { } at ? $"Since {LocalClock.Near(at, now, plan.TimeZone)} {name} {verb}"
                : $"{char.ToUpperInvariant(name[0])}{name[1..]} {verb}";
            var isEmpty = water is { EmptySince: not null, DisorderSince: null };
            return new($"{words} {bounds}{reserve}.{(holds ? Left(plan, tank, timeline, now) : "")}", holds, isEmpty, low, high, isEmpty ? -1 : low / tank.Capacity.Value);
        }

        /// <summary>How long it lasts, where something keeps an overhead tank from being filled.</summary>
        private static string Left(SitePlan plan, Tank tank, SiteTimeline timeline, DateTimeOffset now)
        {
            var context = new RuleContext(plan, timeline, now);
            return tank.Role == TankRole.Overhead && Want.Of(context, tank.Index)?.HoursToEmpty(context, tank.Index, BalanceAccount.Ninety) is { } hours
                ? $" As it is used at these hours, it lasts {Asking.Plain(hours.Low)} to {Asking.Plain(hours.High)} hours." : "";
        }

        private static Standing Unknown(string sentence) => new(sentence, false, false, 0, 0, 0);

        private static string Moved(TankTimeline water) => Passed(water) switch
        {
            { Rising: true } => "is up to",
            { Rising: false } => "is down to",
            null => "holds",
        };

        /// <summary>The crossing that brought the water to where it stands; null when it came there unseen.</summary>
        private static Crossing? Passed(TankTimeline water) =>
            water is { Last: { } last, Wet: { } wet } && wet == (1 << (last.Rising ? last.Probe + 1 : last.Probe)) - 1 ? last : null;
    }
}
