using System.Collections.Immutable;
using TankWatch.Core.Sites;
using TankWatch.Core.Supply;
using TankWatch.Core.Texts;
using TankWatch.Core.Time;
using TankWatch.Core.Timelines;

namespace TankWatch.Core.Findings.Rules;

/// <summary>
/// A supply that was due, as given or as learnt, did not bring the sump's water up as it does on nearly all days, and what is left does
/// not last until the next; or, where no hours are known, the sump stays low longer than a supply that runs daily would leave it.
/// </summary>
/// <remarks>
/// That a sump which holds enough was not refilled is no finding: a day of less use, a float valve that opens late and a supply that
/// failed look the same from its probes, and nobody goes short.
/// </remarks>
internal sealed class LowSupply : Rule
{
    private static readonly TimeSpan EmptyTooLong = TimeSpan.FromMinutes(30);
    private static readonly TimeSpan LowTooLong = TimeSpan.FromHours(12);

    /// <summary>Of what was drawn, a supply that came brings more than this share by the time it should have.</summary>
    private const double CameAtMost = 0.4;

    /// <summary>A supply may be late by this.</summary>
    private static readonly TimeSpan Late = TimeSpan.FromHours(1);

    // The next supply counts from here on; less would hide how little is left where water comes all day.
    private static readonly TimeSpan LastsAtLeast = TimeSpan.FromHours(12);

    private static readonly TimeSpan AskAgain = TimeSpan.FromHours(1);

    private static readonly ImmutableArray<Phrase> Advice = Phrase.Each("low-supply.advice.ask", "low-supply.advice.inlet", "low-supply.advice.save");

    public override FindingKind Kind => FindingKind.LowSupply;
    public override RuleScope Scope => RuleScope.Sump;
    public override Priority Priority => Priority.High;
    public override TimeSpan ClearAfter => TimeSpan.FromMinutes(5);

    public override Verdict Judge(in RuleContext context, int device)
    {
        if (!context.KnowsTank(device))
        {
            return Verdict.Unknown;
        }

        var sump = context.Timeline.Tanks[device];
        var restart = Math.Min(1, sump.Probes.Length - 1);
        var (verdict, due) = ByTheHours(context, device, sump);
        var emptyDue = Moments.Later(sump.EmptySince + EmptyTooLong, sump.EmptySince is null ? null : due);
        var lowDue = sump.IsWet(restart) || sump.Probes[restart].ChangedAt is not { } low ? null : Moments.Later(low + LowTooLong, due);
        return emptyDue <= context.Now || lowDue <= context.Now ? Verdict.Holds(sump.Probes[restart].ChangedAt ?? sump.EmptySince)
            : verdict.Kind == VerdictKind.Holds || sump.IsWet(restart) ? verdict
            : Verdict.Between(Moments.Earlier(Moments.Earlier(emptyDue, lowDue), verdict.AskAgainAt));
    }

    /// <summary>What the supply hours, given or learnt, tell; and before when a low sump is no word against the supply, null where no hours are known.</summary>
    private static (Verdict Verdict, DateTimeOffset? Due) ByTheHours(in RuleContext context, int device, TankTimeline sump)
    {
        if (sump.Supply is not { } supply || SupplyTimes.ProbeOf(context.Plan, supply, device) is var probe && sump.IsWet(probe)
            || sump.Probes[probe].ChangedAt is not { } fell || SupplyTimes.Next(context.Plan, supply, fell) is not { } window)
        {
            return (Verdict.Clear, null);
        }

        var due = window.To + Late;
        var isDue = due <= context.Now;
        var askAgain = isDue ? context.Now + AskAgain : due;
        if (!isDue || !IsMissing(context, device, supply, window))
        {
            return (Verdict.ClearUntil(askAgain), due);
        }

        return (Lacks(context, device, supply) switch { true => Verdict.Holds(window.From, askAgain), false => Verdict.ClearUntil(askAgain), null => Verdict.Between(askAgain) }, due);
    }

    /// <summary>Whether next to nothing came in since the water sank below the probe that the supply brings it to: a lower probe passed tells.</summary>
    private static bool IsMissing(in RuleContext context, int device, SumpSupply supply, SupplyWindow due)
    {
        var (anchor, probe, probes) = (supply.Anchor, SupplyTimes.ProbeOf(context.Plan, supply, device), context.Plan.Tanks[device].Probes);
        if (anchor.Probe < 0 || anchor.Probe >= probe || anchor.Before is not { } drawn || drawn <= 0)
        {
            return false;
        }

        // Where the water stands above the probe passed last, a supply that was due since may have brought more.
        var passed = new DateTimeOffset(anchor.At, TimeSpan.Zero);
        var isTold = !context.Timeline.Tanks[device].IsWet(anchor.Probe)
            || (passed >= due.To && SupplyTimes.Next(context.Plan, supply, passed)?.To > context.Now);
        return isTold && drawn - (probes[probe].Volume.Value - probes[anchor.Probe].Volume.Value) <= CameAtMost * drawn;
    }

    private static bool? Lacks(in RuleContext context, int device, SumpSupply supply) =>
        Outlook.Lacking(context.Timeline, context.Plan, device, context.Now, Until(context, supply)) is { } lacking ? lacking.Value > 0 : null;

    /// <summary>When the next supply that is known of should have brought its water.</summary>
    private static DateTimeOffset Until(in RuleContext context, SumpSupply supply)
    {
        var least = context.Now + LastsAtLeast;
        return SupplyTimes.Next(context.Plan, supply, context.Now) is { } next && next.To > least ? next.To : least;
    }

    public override Description Describe(in RuleContext context, int device, DateTimeOffset since)
    {
        var (tank, sump) = (context.Plan.Tanks[device], context.Timeline.Tanks[device]);
        var missing = Short(context, tank, sump);
        return new(
            new(Summary(context, tank, sump, missing), [.. Evidence(context, device, since, missing).OfType<Phrase>()], Advice, [Cautions.Sump, Cautions.Water]),
            [], missing is { } size ? new("short", size, "L") : null);
    }

    private static Phrase Summary(in RuleContext context, Tank tank, TankTimeline sump, Estimate? missing)
    {
        var due = sump.EmptySince is null ? Missed(context, sump, tank.Index) : null;
        var key = sump.EmptySince is not null ? "low-supply.summary.empty" : due is not null ? "low-supply.summary.missed" : "low-supply.summary.low";
        var arguments = new List<(string, PhraseValue)> { ("tank", tank.Id.Value) };
        if (due is { To: var to })
        {
            arguments.Add(("due", LocalClock.Near(to, context.Now, context.Plan.TimeZone)));
        }

        if (missing is { } litres)
        {
            arguments.Add(("litres", Asking.Plain(litres.Value)));
        }

        return Phrase.Of(missing is null ? key : key + ".short", [.. arguments]);
    }

    private static List<Phrase?> Evidence(RuleContext context, int device, DateTimeOffset since, Estimate? missing)
    {
        var (plan, tank, sump) = (context.Plan, context.Plan.Tanks[device], context.Timeline.Tanks[device]);
        var restart = tank.Probes[Math.Min(1, tank.Probes.Length - 1)].Name;
        var lines = new List<Phrase?>
        {
            sump.EmptySince is { } empty ? Phrase.Of("low-supply.evidence.empty", ("since", context.Clock(empty)))
                : Missed(context, sump, device) is null ? Phrase.Of("low-supply.evidence.low", ("probe", restart), ("since", context.Clock(since))) : null,
            plan.SupplyHours.IsEmpty ? null
                : Phrase.Of("low-supply.evidence.due", ("hours", PhraseList.Of(ListStyle.And, plan.SupplyHours.Select(h => Phrase.Of("window", ("from", h.From), ("to", h.To)))))),
        };
        if (sump.Supply is not { } supply || SupplyTimes.ProbeOf(plan, supply, device) is var probe && sump.Probes[probe].ChangedAt is not { } fell)
        {
            return [.. lines, Phrase.Of("low-supply.evidence.daily")];
        }

        var name = tank.Probes[probe].Name;
        lines.Add(Expected(context, supply, name, fell));
        lines.Add(missing is { } litres
            ? Phrase.Of(
                "low-supply.evidence.short", ("probe", name), ("litres", Asking.Plain(litres.Value)), ("low", Asking.Plain(litres.Low)), ("high", Asking.Plain(litres.High)),
                ("passed", context.Clock(new(supply.Anchor.At, TimeSpan.Zero)))) : null);
        var until = Until(context, supply);
        lines.Add(Outlook.Lacking(context.Timeline, plan, device, context.Now, until) is { Value: > 0 } lacking
            ? Phrase.Of(
                "low-supply.evidence.lacking", ("until", context.Clock(until)), ("litres", Asking.Plain(lacking.Value)), ("low", Asking.Plain(lacking.Low)),
                ("high", Asking.Plain(lacking.High))) : null);
        lines.Add(Phrase.Of("low-supply.evidence.otherwise"));
        return lines;
    }

    /// <summary>What the supply should have done, against what the sump did.</summary>
    private static Phrase Expected(in RuleContext context, SumpSupply supply, string probe, DateTimeOffset fell) =>
        SupplyTimes.Next(context.Plan, supply, fell) is not { } due ? Phrase.Of("low-supply.evidence.sank", ("probe", probe), ("fell", context.Clock(fell)))
        : supply.HasLearnt ? Phrase.Of(
            "low-supply.evidence.expected.learnt", ("probe", probe), ("from", context.Clock(due.From)), ("to", context.Clock(due.To)), ("days", supply.Past.Length),
            ("fell", context.Clock(fell)))
        : Phrase.Of("low-supply.evidence.expected", ("probe", probe), ("from", context.Clock(due.From)), ("to", context.Clock(due.To)), ("fell", context.Clock(fell)));

    private static SupplyWindow? Missed(in RuleContext context, TankTimeline sump, int device) =>
        sump.Supply is { } supply && sump.Probes[SupplyTimes.ProbeOf(context.Plan, supply, device)].ChangedAt is { } fell
        && SupplyTimes.Next(context.Plan, supply, fell) is { } due && due.To + Late <= context.Now ? due : null;

    /// <summary>Litres that the sump lacks against the probe its supply usually brings it to, none having come unseen.</summary>
    private static Estimate? Short(in RuleContext context, Tank tank, TankTimeline sump)
    {
        // Probes sit ±2 to 3 cm off: 3 to 5 % of a usual band (common practice, no source).
        const double ProbeError = 0.04;
        if (sump.Supply is not { } supply || Outlook.Drawable(context.Timeline, context.Plan, tank.Index, context.Now) is not { } drawable
            || sump.Bounds(tank) is not var (low, high))
        {
            return null;
        }

        var usual = tank.Probes[SupplyTimes.ProbeOf(context.Plan, supply, tank.Index)].Volume.Value;
        var holds = sump.EmptySince is null ? drawable + tank.Probes[0].Volume.Value : Math.Min(high, tank.Probes[0].Volume.Value);
        var missing = usual - holds;
        return missing <= 0 ? null
            : new(missing, Math.Max(usual - high, missing * (1 - ProbeError)), Math.Min(usual - low, missing * (1 + ProbeError)));
    }
}
