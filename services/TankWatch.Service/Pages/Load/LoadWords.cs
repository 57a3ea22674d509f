using TankWatch.Core.Alerts.Load;
using TankWatch.Core.Alerts.Outcomes;
using TankWatch.Core.Findings;
using TankWatch.Core.Texts;

namespace TankWatch.Service.Pages.Load;

/// <summary>How pages and reports speak of the load of alerts.</summary>
internal static class LoadWords
{
    /// <summary>Below so many, the share of the worst says little.</summary>
    private const int FewAlerts = 100;

    /// <summary>What a person reads first.</summary>
    public static string Verdict(AlertLoad load)
    {
        (string, PhraseValue)[] about =
        [
            ("period", Period(load)), ("rate", Rate(load.PerDay)), ("acceptable", Rate(LoadTargets.PerDay.Acceptable)), ("manageable", Rate(LoadTargets.PerDay.Manageable)),
            ("n", load.MostInTenMinutes), ("most", LoadTargets.BusyTenMinutes),
        ];
        return Words.Say(
            load.Verdict switch
            {
                LoadVerdict.Silent => "load.verdict.silent",
                LoadVerdict.Quiet => "load.verdict.quiet",
                LoadVerdict.Bursts => "load.verdict.bursts",
                LoadVerdict.Demanding when load.PerDay <= LoadTargets.PerDay.Acceptable => "load.verdict.too-many",
                LoadVerdict.Demanding => "load.verdict.demanding",
                _ => "load.verdict.too-much",
            },
            about);
    }

    /// <summary>What is counted, and what the figures beside it are worth.</summary>
    public static string Counted(AlertLoad load, bool ofPerson) => Words.Say(
        (load.Count, ofPerson) switch
        {
            (0, false) => "load.counted.none",
            (0, true) => "load.counted.none.person",
            (_, false) => "load.counted",
            (_, true) => "load.counted.person",
        },
        ("n", load.Count), ("period", Period(load)));

    public static IReadOnlyList<LoadFigure> Figures(AlertLoad load) =>
    [
        Average("load.figure.day", load.PerDay, LoadTargets.PerDay),
        Average("load.figure.hour", load.PerHour, LoadTargets.PerHour),
        Average("load.figure.ten", load.PerTenMinutes, LoadTargets.PerTenMinutes),
        new(Words.Say("load.figure.most"), Amounts.Count(load.MostInTenMinutes), Words.Say("load.standard.at-most", ("n", LoadTargets.BusyTenMinutes)),
            load.MostInTenMinutes > LoadTargets.BusyTenMinutes),
        OfTime("load.figure.busy-hour", load.BusyHours),
        OfTime("load.figure.busy-ten", load.BusyTenMinutes),
        new(Words.Say("load.figure.floods"), Floods(load), Words.Say("load.standard.of-time"), load.InFlood >= LoadTargets.LeastShare),
        new(Words.Say("load.figure.worst"), Worst(load), Words.Say("load.standard.worst"), load.Count >= FewAlerts && load.WorstShare > LoadTargets.WorstShare),
        None("load.figure.chatter", load.Chattering),
        None("load.figure.fleeting", load.Fleeting),
        new(Words.Say("load.figure.stale"), Amounts.Count(load.MostStale), Words.Say("load.standard.fewer", ("n", LoadTargets.Stale)), load.MostStale >= LoadTargets.Stale),
        new(Words.Say("load.figure.priorities"), load.Count == 0 ? Words.Say("amount.none") : Words.Say(Priorities(load.ShareOf(Priority.Low), load.ShareOf(Priority.Medium))),
            Words.Say("load.standard.about", ("what", Priorities(LoadTargets.Low, LoadTargets.Medium))), false),
    ];

    /// <summary>"3 times, 12 % of all; it chatters".</summary>
    public static string Heard(SourceLoad source) => Words.Say(source.Chatters ? "load.heard.chatters" : "load.heard", ("n", source.Count), ("share", Percent(source.Share)));

    /// <summary>"2 a day, at most 3 in ten minutes: quiet".</summary>
    public static string Named(AlertLoad load) => Words.Say(
        "load.named", ("rate", Rate(load.PerDay)), ("n", load.MostInTenMinutes),
        ("verdict", Phrase.Of(load.Verdict switch
        {
            LoadVerdict.Silent => "load.short.silent",
            LoadVerdict.Quiet => "load.short.quiet",
            LoadVerdict.Bursts => "load.short.bursts",
            LoadVerdict.Demanding => "load.short.demanding",
            _ => "load.short.too-much",
        })));

    /// <summary>"150", "6.3", "0.4", "0.03".</summary>
    public static string Rate(double value) => value switch
    {
        0 => "0",
        >= 10 => Words.Number(value),
        >= 0.1 => Words.Number(value, "0.#"),
        >= 0.005 => Words.Number(value, "0.##"),
        _ => Words.Say("load.rate.least"),
    };

    /// <summary>What was found, in one sentence.</summary>
    public static string RecordLead(KindRecord total) => total switch
    {
        { Closed: 0 } => Words.Say("load.record.none"),
        { Right.Of: 0 } => Words.Say("load.record.words", ("n", total.Closed)),
        { Unsaid: 0 } => Words.Say("load.record.lead", ("share", Shown(total.Right))),
        _ => Words.Say("load.record.lead.unsaid", ("share", Shown(total.Right)), ("n", total.Unsaid)),
    };

    /// <summary>"9 of 10 (64 to 98 %)".</summary>
    public static string Shown(Tally tally) => tally.Share is { } share
        ? Words.Say("load.share", ("hits", Words.Number(tally.Hits)), ("of", Words.Number(tally.Of)), ("low", Math.Round(100 * share.Low)), ("high", Math.Round(100 * share.High)))
        : "–";

    public static string Brier(double? score) => score is { } known ? Words.Number(known, "0.00") : "–";

    /// <summary>"these 30 days".</summary>
    private static Phrase Period(AlertLoad load)
    {
        var length = load.To - load.From;
        return length < TimeSpan.FromHours(36) ? Phrase.Of("load.period", ("span", Words.LastingOf(length))) : Phrase.Of("load.period.days", ("n", length.TotalDays));
    }

    private static string Worst(AlertLoad load) => load.Count switch
    {
        0 => Words.Say("amount.none"),
        < FewAlerts => Words.Say("load.figure.worst.few", ("share", Percent(load.WorstShare)), ("n", load.Count)),
        _ => Percent(load.WorstShare),
    };

    private static string Floods(AlertLoad load) => load.Floods.Length == 0 ? Words.Say("amount.none")
        : Words.Say("load.floods", ("n", Words.Number(load.Floods.Length)), ("span", Words.LastingOf(load.LongestFlood)), ("share", Percent(load.InFlood)));

    private static Phrase Priorities(double low, double medium) => Phrase.Of(
        "load.priorities", ("low", Math.Round(100 * low)), ("medium", Math.Round(100 * medium)), ("high", Math.Round(100 * Math.Max(0, 1 - low - medium))));

    private static LoadFigure Average(string key, double value, RateTarget target) => new(
        Words.Say(key), Rate(value), Words.Say("load.standard.average", ("acceptable", Rate(target.Acceptable)), ("manageable", Rate(target.Manageable))), value > target.Acceptable);

    private static LoadFigure OfTime(string key, double share) => new(Words.Say(key), Percent(share), Words.Say("load.standard.below"), share >= LoadTargets.LeastShare);

    private static LoadFigure None(string key, int count) =>
        new(Words.Say(key), count == 0 ? Words.Say("amount.none") : Amounts.Count(count), Words.Say("amount.none"), count > 0);

    private static string Percent(double share) => share is > 0 and < 0.001
        ? Words.Say("load.percent.least") : Words.Say("amount.percent", ("n", share < 0.1 ? 100 * share : Math.Round(100 * share)));
}
