using System.Collections.Immutable;
using TankWatch.Core.Findings;
using TankWatch.Core.Findings.Rules;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;

namespace TankWatch.Core.Timelines;

/// <summary>What is known of the link to one unit, in time of receipt.</summary>
/// <param name="HeardAt">Last sign of life, or since when anyone has been listening.</param>
/// <param name="HasSpoken">A sign of life came at all.</param>
/// <param name="GoneSince">The broker's word that the unit's connection broke; null once it speaks again.</param>
/// <param name="Boot">Highest restart count seen.</param>
/// <param name="Open">The open finding.</param>
/// <param name="LastClearedAt">When the last one cleared.</param>
public sealed record UnitLink(
    DateTimeOffset HeardAt, bool HasSpoken, DateTimeOffset? GoneSince, long? Boot, Finding? Open, DateTimeOffset? LastClearedAt);

/// <summary>The links to a site's units. A function of receipts, kept apart from water and pumps, which late data may rewrite.</summary>
/// <param name="Units">In the order of the plan.</param>
/// <param name="At">How far it has come, wall clock.</param>
public sealed record LinkState(ImmutableArray<UnitLink> Units, DateTimeOffset At)
{
    /// <param name="plan">What is installed.</param>
    /// <param name="listeningSince">Silence before this is nobody's: the service was not there to hear.</param>
    public static LinkState Start(SitePlan plan, DateTimeOffset listeningSince) =>
        new([.. plan.Units.Select(_ => new UnitLink(listeningSince, false, null, null, null, null))], listeningSince);

    /// <summary>The service was cut off itself until now: no unit's silence counts from before.</summary>
    public LinkState ListeningAgain(DateTimeOffset since) => this with
    {
        Units = [.. Units.Select(unit => unit.HeardAt < since ? unit with { HeardAt = since } : unit)],
    };

    /// <summary>The wall clock was set: silence lasts as long as it did.</summary>
    public LinkState ClockMoved(TimeSpan by) => new(
        [.. Units.Select(unit => unit with { HeardAt = unit.HeardAt + by, GoneSince = unit.GoneSince + by })], At + by);
}

/// <summary>Judges the links: <c>unit-silent</c>.</summary>
public static class LinkStep
{
    /// <summary>A unit promises a word at least hourly; half an hour more lets one word be late before silence is called so.</summary>
    public static readonly TimeSpan SilentAfter = TimeSpan.FromMinutes(90);

    /// <summary>A broken connection usually comes back within minutes.</summary>
    public static readonly TimeSpan GoneAfter = TimeSpan.FromMinutes(10);

    private static readonly ImmutableArray<Phrase> Advice = Phrase.Each("unit-silent.advice.power", "unit-silent.advice.network", "unit-silent.advice.look");

    /// <summary>Takes a receipt into account.</summary>
    /// <param name="state">The links before.</param>
    /// <param name="unit">Index of the unit.</param>
    /// <param name="observation">What was received.</param>
    /// <param name="retained">Delivered because it was retained: no sign of life.</param>
    /// <param name="plan">What is installed.</param>
    public static (LinkState Next, FindingChanges Changes) Heard(
        LinkState state, int unit, Observation observation, bool retained, SitePlan plan)
    {
        var at = observation.Stamp.ReceivedAt;
        var (ticked, before) = Tick(state, at, plan);
        var was = ticked.Units[unit];
        var boot = observation.Stamp.Boot;
        if (observation is StatusObservation { Online: false })
        {
            // A Will of a restart before the present one is the past; a retained one tells of no particular time.
            var isPast = boot < was.Boot;
            var gone = isPast || retained ? was : was with { GoneSince = was.GoneSince ?? at };
            return (ticked with { Units = ticked.Units.SetItem(unit, gone) }, before);
        }

        if (retained)
        {
            return (ticked, before);
        }

        var heard = was with
        {
            HeardAt = at > was.HeardAt ? at : was.HeardAt, HasSpoken = true, GoneSince = null, Boot = was.Boot is null || boot > was.Boot ? boot ?? was.Boot : was.Boot,
        };
        if (was.Open is not { } open)
        {
            return (ticked with { Units = ticked.Units.SetItem(unit, heard) }, before);
        }

        var cleared = open with { ClearedAt = at };
        heard = heard with { Open = null, LastClearedAt = at };
        var findings = before.Findings.RemoveAll(f => f.Device == cleared.Device).Add(cleared);
        return (ticked with { Units = ticked.Units.SetItem(unit, heard) }, before with { Findings = findings });
    }

    /// <summary>Time passes with the service listening.</summary>
    public static (LinkState Next, FindingChanges Changes) Tick(LinkState state, DateTimeOffset now, SitePlan plan)
    {
        var from = state.At;
        if (IsQuiet(state.Units, now))
        {
            return (now > from ? state with { At = now } : state, new(FindingScope.Link, from, []));
        }

        var units = state.Units.ToBuilder();
        for (var i = 0; i < units.Count; i++)
        {
            if (units[i].Open is null && DueAt(units[i]) is var due && due <= now)
            {
                units[i] = units[i] with { Open = Silent(units[i], plan.Units[i], due, plan) };
            }
        }

        var next = new LinkState(units.DrainToImmutable(), now > from ? now : from);
        return (next, new(FindingScope.Link, from, [.. next.Units.Where(u => u.Open is not null).Select(u => u.Open!)]));
    }

    /// <summary>No unit is silent, nor becomes so.</summary>
    private static bool IsQuiet(ImmutableArray<UnitLink> units, DateTimeOffset now)
    {
        foreach (var unit in units)
        {
            if (unit.Open is not null || DueAt(unit) <= now)
            {
                return false;
            }
        }

        return true;
    }

    private static DateTimeOffset DueAt(UnitLink unit)
    {
        var silent = unit.HeardAt + SilentAfter;
        return unit.GoneSince + GoneAfter is { } gone && gone < silent ? gone : silent;
    }

    private static Finding Silent(UnitLink link, FieldUnit unit, DateTimeOffset due, SitePlan plan)
    {
        // A word would have taken back the break: with the break before it, this is no word but when we began to listen.
        var isWord = !(link.GoneSince < link.HeardAt);
        var quietSince = isWord ? link.HeardAt : link.GoneSince!.Value;
        var onset = link.LastClearedAt > quietSince ? link.LastClearedAt.Value : quietSince;
        var devices = unit.Tanks.Select(t => plan.Tanks[t].Id.Value).Concat(unit.Pumps.Select(p => plan.Pumps[p].Id.Value)).Select(id => (PhraseValue)id);
        return new(
            FindingKind.UnitSilent, new(unit.Id.Value), Priority.Medium, onset, due, null, null, [],
            new(
                Phrase.Of("unit-silent.summary", ("unit", unit.Id.Value), ("devices", PhraseList.Of(ListStyle.Comma, devices))), Evidence(link, isWord, plan.TimeZone), Advice,
                [Cautions.Electric, Cautions.Height]));
    }

    private static ImmutableArray<Phrase> Evidence(UnitLink link, bool isWord, TimeZoneInfo zone)
    {
        var word = Phrase.Of(link.HasSpoken ? "unit-silent.evidence.word" : "unit-silent.evidence.never", ("heard", PhraseMoment.In(zone, link.HeardAt)));
        return link.GoneSince is not { } gone ? [word, Phrase.Of("unit-silent.evidence.unbroken")]
            : isWord ? [word, Phrase.Of("unit-silent.evidence.broke", ("at", PhraseMoment.In(zone, gone)))]
            : [Phrase.Of("unit-silent.evidence.broke-since", ("at", PhraseMoment.In(zone, gone)))];
    }
}
