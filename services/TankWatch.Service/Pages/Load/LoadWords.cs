using System.Globalization;
using TankWatch.Core.Alerts.Load;
using TankWatch.Core.Alerts.Outcomes;
using TankWatch.Core.Findings;

namespace TankWatch.Service.Pages.Load;

/// <summary>How pages and reports speak of the load of alerts.</summary>
internal static class LoadWords
{
    /// <summary>Below so many, the share of the worst says little.</summary>
    private const int FewAlerts = 100;

    /// <summary>What a person reads first.</summary>
    public static string Verdict(AlertLoad load)
    {
        var days = Days(load);
        var acceptable = Rate(LoadTargets.PerDay.Acceptable);
        return load.Verdict switch
        {
            LoadVerdict.Silent => $"No alerts in {days}.",
            LoadVerdict.Quiet => $"Quiet: {Rate(load.PerDay)} a day; up to about {acceptable} a day is held to be acceptable.",
            LoadVerdict.Bursts =>
                $"Few on the whole, {Rate(load.PerDay)} a day, but {load.MostInTenMinutes} came within ten minutes, and nobody takes in more than {LoadTargets.BusyTenMinutes}.",
            LoadVerdict.Demanding when load.PerDay <= LoadTargets.PerDay.Acceptable =>
                $"Too many at once, too often: {load.MostInTenMinutes} came within ten minutes, though {Rate(load.PerDay)} a day would be acceptable.",
            LoadVerdict.Demanding => $"Demanding: {Rate(load.PerDay)} a day, where about {acceptable} are held to be acceptable.",
            _ => $"Too much: {Rate(load.PerDay)} a day, where about {Rate(LoadTargets.PerDay.Manageable)} are the most that anybody can heed.",
        };
    }

    /// <summary>What is counted, and what the figures beside it are worth.</summary>
    public static string Counted(AlertLoad load, bool ofPerson) => load.Count == 0
        ? $"Counted is each time that {(ofPerson ? "this person was" : "people were")} told that an alert holds."
        : $"{(ofPerson ? "This person was" : "People were")} told {Amounts.Count(load.Count, "time", "times")} in {Days(load)} that an alert holds. The figures beside are for somebody whose "
        + "whole work is to watch a plant: a caretaker should be far below them.";

    public static IReadOnlyList<LoadFigure> Figures(AlertLoad load) =>
    [
        Average("Told in a day", load.PerDay, LoadTargets.PerDay),
        Average("In an hour", load.PerHour, LoadTargets.PerHour),
        Average("In ten minutes", load.PerTenMinutes, LoadTargets.PerTenMinutes),
        new("Most in any ten minutes", Amounts.Count(load.MostInTenMinutes), $"at most {LoadTargets.BusyTenMinutes}", load.MostInTenMinutes > LoadTargets.BusyTenMinutes),
        OfTime("Time with more than 30 in the hour before", load.BusyHours),
        OfTime("Time with more than 10 in the ten minutes before", load.BusyTenMinutes),
        new("Floods, from 10 in ten minutes until fewer than 5", Floods(load), "below 1 % of the time", load.InFlood >= LoadTargets.LeastShare),
        new("Share of the ten worst sources", load.Count == 0 ? "none" : $"{Percent(load.WorstShare)}{(load.Count < FewAlerts ? $" (of {load.Count}, too few to say much)" : "")}",
            "at most 5 %", load.Count >= FewAlerts && load.WorstShare > LoadTargets.WorstShare),
        None("Sources that chatter: three within a minute", load.Chattering),
        None("Fleeting: over within a minute, once", load.Fleeting),
        new("Standing for more than 24 hours, the most at one time", Amounts.Count(load.MostStale), $"fewer than {LoadTargets.Stale}", load.MostStale >= LoadTargets.Stale),
        new("Priority low, medium, and above", load.Count == 0 ? "none" : Priorities(load.ShareOf(Priority.Low), load.ShareOf(Priority.Medium)), $"about {Priorities(LoadTargets.Low, LoadTargets.Medium)}", false),
    ];

    /// <summary>"3 times, 12 % of all; it chatters".</summary>
    public static string Heard(SourceLoad source) =>
        $"{Amounts.Count(source.Count, "time", "times")}, {Percent(source.Share)} of all{(source.Chatters ? "; it chatters" : "")}";

    /// <summary>In one word, for a list.</summary>
    public static string Short(LoadVerdict verdict) => verdict switch
    {
        LoadVerdict.Silent => "nothing",
        LoadVerdict.Quiet => "quiet",
        LoadVerdict.Bursts => "too many at once",
        LoadVerdict.Demanding => "demanding",
        _ => "too much",
    };

    /// <summary>"150", "6.3", "0.4", "0.03".</summary>
    public static string Rate(double value) => value switch
    {
        0 => "0",
        >= 10 => Words.Number(value),
        >= 0.1 => value.ToString("0.#", CultureInfo.InvariantCulture),
        >= 0.005 => value.ToString("0.##", CultureInfo.InvariantCulture),
        _ => "fewer than 0.01",
    };

    /// <summary>What was found, in one sentence.</summary>
    public static string RecordLead(KindRecord total) => total switch
    {
        { Closed: 0 } => "No alert has been closed with what was found on site yet, so nothing can be said.",
        { Right.Of: 0 } => $"{Amounts.Count(total.Closed, "alert was", "alerts were")} closed, with what was found told in words alone, which cannot be counted.",
        _ => $"{Shown(total.Right)} were right, of those where what was found can be counted{(total.Unsaid == 0 ? "" : $"; {Amounts.Count(total.Unsaid, "more was", "more were")} closed with words alone")}.",
    };

    /// <summary>"9 of 10 (64 to 98 %)".</summary>
    public static string Shown(Tally tally) => tally.Share is { } share
        ? $"{Words.Number(tally.Hits)} of {Words.Number(tally.Of)} ({string.Create(CultureInfo.InvariantCulture, $"{100 * share.Low:0} to {100 * share.High:0} %")})" : "–";

    public static string Brier(double? score) => score is { } known ? known.ToString("0.00", CultureInfo.InvariantCulture) : "–";

    /// <summary>"these 30 days".</summary>
    private static string Days(AlertLoad load)
    {
        var length = load.To - load.From;
        return length < TimeSpan.FromHours(36) ? $"these {Words.Lasting(length)}" : $"these {length.TotalDays.ToString("0.#", CultureInfo.InvariantCulture)} days";
    }

    private static string Floods(AlertLoad load) => load.Floods.Length == 0 ? "none"
        : $"{Words.Number(load.Floods.Length)}, the longest {Words.Lasting(load.LongestFlood)}, {Percent(load.InFlood)} of the time";

    private static string Priorities(double low, double medium) =>
        string.Create(CultureInfo.InvariantCulture, $"{100 * low:0}, {100 * medium:0} and {100 * Math.Max(0, 1 - low - medium):0} %");

    private static LoadFigure Average(string name, double value, RateTarget target) => new(
        name, Rate(value), $"about {Rate(target.Acceptable)}; {Rate(target.Manageable)} at most", value > target.Acceptable);

    private static LoadFigure OfTime(string name, double share) => new(name, Percent(share), "below 1 %", share >= LoadTargets.LeastShare);

    private static LoadFigure None(string name, int count) => new(name, count == 0 ? "none" : Amounts.Count(count), "none", count > 0);

    private static string Percent(double share) => share is > 0 and < 0.001 ? "less than 0.1 %" : $"{(100 * share).ToString(share < 0.1 ? "0.#" : "0", CultureInfo.InvariantCulture)} %";
}
