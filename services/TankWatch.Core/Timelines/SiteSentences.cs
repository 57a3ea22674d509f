using System.Collections.Immutable;
using TankWatch.Core.Balance;
using TankWatch.Core.Findings;
using TankWatch.Core.Findings.Rules;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;
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
    public static Phrase Water(SitePlan plan, SiteState state, DateTimeOffset now)
    {
        if (IsUnheard(state))
        {
            return Phrase.Of("water.unheard");
        }

        // A sump without probes says nothing: it is left out, not told as empty or unknown.
        var sumps = plan.Tanks.Where(t => t.Role == TankRole.Sump && !t.Probes.IsEmpty).Select(Of).ToList();
        var overhead = plan.Tanks.Where(t => t.Role == TankRole.Overhead).Select(Of).ToList();
        return overhead.Count > 0 ? Joined([.. Told(overhead), .. Told([.. sumps.Where(sump => sump.IsEmpty)])])
            : sumps.Count > 0 ? Joined(Told(sumps))
            : Phrase.Of("water.unmeasured");

        Standing Of(Tank tank) => Standing.Of(plan, tank, state.Timeline, now);
    }

    /// <summary>Whether each pump runs or rests, since when, and what stopped it where that matters.</summary>
    /// <param name="plan">What is installed.</param>
    /// <param name="state">As it is known now.</param>
    /// <param name="now">Wall clock, UTC.</param>
    public static Phrase Pumps(SitePlan plan, SiteState state, DateTimeOffset now)
    {
        if (plan.Pumps.Length <= ToldOneByOne)
        {
            return plan.Pumps.IsEmpty ? Phrase.Of("pump.none") : Joined(plan.Pumps.Select(Sentence));
        }

        var ordered = plan.Pumps.OrderBy(Matters).ToList();
        var rest = ordered.Skip(ToldOfMany).Select(pump => IsKnown(pump) ? state.Timeline.Pumps[pump.Index].Running : null).ToList();
        var counts = new[] { ("pump.more.running", rest.Count(r => r == true)), ("pump.more.resting", rest.Count(r => r == false)), ("pump.more.unknown", rest.Count(r => r is null)) };
        var told = PhraseList.Of(ListStyle.Comma, counts.Where(count => count.Item2 > 0).Select(count => (PhraseValue)Phrase.Of(count.Item1, ("n", count.Item2))));
        return Joined([.. ordered.Take(ToldOfMany).Select(Sentence), Phrase.Of("pump.more", ("count", rest.Count), ("told", told))]);

        Phrase Sentence(Pump pump) => PumpSentence(plan, pump, state.Timeline, now);

        bool IsKnown(Pump pump) => state.Timeline.PumpKnownUntil(plan, pump.Index) > now;

        // First what a safeguard stopped or a hand holds, then what runs.
        int Matters(Pump pump) => state.Timeline.Pumps[pump.Index] switch
        {
            { Running: null } => 3,
            { IsManual: true } => 0,
            { Running: false } resting when Why(pump, resting.Cause) is not null => 0,
            { Running: true } => 1,
            _ => 2,
        };
    }

    private static IEnumerable<Phrase> Told(List<Standing> tanks)
    {
        if (tanks.Count <= ToldOneByOne)
        {
            return tanks.SelectMany(tank => tank.Sentences);
        }

        var ordered = tanks.OrderBy(tank => tank.Share).ToList();
        var first = ordered.Where(tank => tank.IsKnown).Take(ToldOfMany).ToList();
        var rest = ordered.Except(first).ToList();
        var (known, unknown) = (rest.Where(tank => tank.IsKnown).ToList(), rest.Count(tank => !tank.IsKnown));
        var sentences = first.SelectMany(tank => tank.Sentences).ToList();
        if (known.Count > 0)
        {
            sentences.Add(Phrase.Of("water.more", ("count", known.Count), ("low", Litres(known.Min(t => t.Low))), ("high", Litres(known.Max(t => t.High)))));
        }

        if (unknown > 0)
        {
            sentences.Add(Phrase.Of(first.Count > 0 ? "water.more.unknown" : "water.all.unknown", ("count", unknown)));
        }

        return sentences;
    }

    private static Phrase PumpSentence(SitePlan plan, Pump pump, SiteTimeline timeline, DateTimeOffset now)
    {
        var state = timeline.Pumps[pump.Index];
        if (state.Running is not { } running)
        {
            return Phrase.Of("pump.unknown", ("pump", pump.Id.Value));
        }

        var why = (running ? null : Why(pump, state.Cause)) ?? Nothing;
        var manual = state.IsManual ? Phrase.Of("pump.manual") : Nothing;
        return timeline.PumpKnownUntil(plan, pump.Index) switch
        {
            { } until when until > now => Said(
                running ? "pump.since.running" : "pump.since.resting", ("since", LocalClock.Near(state.Since!.Value, now, plan.TimeZone))),
            { } held => Said(running ? "pump.ago.running" : "pump.ago.resting", ("ago", Asking.Lasting(now - (held - SiteTimeline.WordHolds)))),
            null => Said(running ? "pump.last.running" : "pump.last.resting"),
        };

        Phrase Said(string key, params (string, PhraseValue)[] when) => Phrase.Of(key, [.. when, ("pump", pump.Id.Value), ("why", why), ("manual", manual)]);
    }

    /// <summary>To go on after the word that it is at rest.</summary>
    private static Phrase? Why(Pump pump, PumpCause cause) => cause switch
    {
        PumpCause.SumpLow => Phrase.Of(pump.From is null ? "pump.why.source-low" : "pump.why.sump-empty"),
        PumpCause.DryRun => Phrase.Of("pump.why.dry-run"),
        PumpCause.UnderVoltage => Phrase.Of("pump.why.under-voltage"),
        PumpCause.OverVoltage => Phrase.Of("pump.why.over-voltage"),
        PumpCause.Overload => Phrase.Of("pump.why.overload"),
        PumpCause.Power => Phrase.Of("pump.why.power"),
        _ => null,
    };

    private static double Litres(double value) => value < 10 ? Asking.Plain(value) : Math.Round(value);

    private static Phrase Joined(IEnumerable<Phrase> sentences) => Phrase.Of("sentences", ("all", PhraseList.Of(ListStyle.Sentences, sentences)));

    private static readonly Phrase Nothing = Phrase.Literal("");

    /// <summary>How the water stands in one tank.</summary>
    /// <param name="Sentences">In words.</param>
    /// <param name="IsKnown">The word still holds, and the probes can be believed.</param>
    /// <param name="IsEmpty">Below the lowest probe.</param>
    /// <param name="Low">Litres to use, at least.</param>
    /// <param name="High">Litres to use, at most.</param>
    /// <param name="Share">Order of a list: -1 when empty, else what it surely holds of its capacity, 0 to 1.</param>
    private sealed record Standing(ImmutableArray<Phrase> Sentences, bool IsKnown, bool IsEmpty, double Low, double High, double Share)
    {
        public static Standing Of(SitePlan plan, Tank tank, SiteTimeline timeline, DateTimeOffset now)
        {
            var water = timeline.Tanks[tank.Index];
            if (water.SeenAt is not { } seen)
            {
                return Unknown(Phrase.Of("water.unknown", ("tank", tank.Id.Value)));
            }

            var holds = timeline.TankKnownUntil(plan, tank.Index) > now;
            if (water.CommonLostSince is not null)
            {
                return Unknown(holds ? Phrase.Of("water.probes-fail", ("tank", tank.Id.Value))
                    : Phrase.Of("water.probes-failed", ("tank", tank.Id.Value), ("ago", Asking.Lasting(now - seen))));
            }

            var (low, high) = water.Bounds(tank) ?? (0, tank.Capacity.Value);
            low = Math.Max(0, low - tank.FireReserve.Value);
            high = Math.Max(0, high - tank.FireReserve.Value);
            var (state, since) = StateOf(water);
            var (when, at) = !holds ? (state is "up" or "down" ? "holds.ago" : $"{state}.ago", (PhraseValue)Asking.Lasting(now - seen))
                : since is { } from ? ($"{state}.since", LocalClock.Near(from, now, plan.TimeZone))
                : ($"{state}.now", Nothing);
            var sentence = Phrase.Of(
                $"water.{when}", ("when", at), ("name", Name(tank, begins: holds && since is null)), ("low", Litres(low)), ("high", Litres(high)),
                ("reserve", tank.FireReserve.Value > 0 ? Phrase.Of("water.above-reserve") : Nothing));
            var isEmpty = state == "below";
            return new(
                holds && Left(plan, tank, timeline, now) is { } left ? [sentence, left] : [sentence], holds, isEmpty, low, high, isEmpty ? -1 : low / tank.Capacity.Value);
        }

        private static (string State, DateTimeOffset? Since) StateOf(TankTimeline water) => water switch
        {
            { DisorderSince: not null } => ("doubt", null),
            { EmptySince: { } empty } => ("below", empty),
            { FullSince: { } full } => ("full", full),
            _ => Passed(water) switch { { Rising: true } up => ("up", up.At), { } down => ("down", down.At), null => ("holds", null) },
        };

        private static Phrase Name(Tank tank, bool begins) => tank switch
        {
            { Role: not TankRole.Sump } => Phrase.Of(begins ? "water.name.tank.first" : "water.name.tank", ("tank", tank.Id.Value)),
            { Id.Value: "sump" } => Phrase.Of(begins ? "water.name.the-sump.first" : "water.name.the-sump"),
            _ => Phrase.Of(begins ? "water.name.sump.first" : "water.name.sump", ("tank", tank.Id.Value)),
        };

        /// <summary>How long it lasts, where something keeps an overhead tank from being filled.</summary>
        private static Phrase? Left(SitePlan plan, Tank tank, SiteTimeline timeline, DateTimeOffset now)
        {
            var context = new RuleContext(plan, timeline, now);
            return tank.Role == TankRole.Overhead && Want.Of(context, tank.Index)?.HoursToEmpty(context, tank.Index, BalanceAccount.Ninety) is { } hours
                ? Phrase.Of("water.lasts", ("low", Asking.Plain(hours.Low)), ("high", Asking.Plain(hours.High))) : null;
        }

        private static Standing Unknown(Phrase sentence) => new([sentence], false, false, 0, 0, 0);

        /// <summary>The crossing that brought the water to where it stands; null when it came there unseen.</summary>
        private static Crossing? Passed(TankTimeline water) =>
            water is { Last: { } last, Wet: { } wet } && wet == (1 << (last.Rising ? last.Probe + 1 : last.Probe)) - 1 ? last : null;
    }
}
