using System.ComponentModel;
using System.Text.Json;
using TankWatch.Core.Alerts.Load;
using TankWatch.Core.Alerts.Outcomes;
using TankWatch.Core.Findings;

namespace TankWatch.Service.Api.Contract;

[Description("How often people were told on average, beside ISA-18.2's figures for one operator.")]
public sealed record LoadRateJson(double Value, double Acceptable, double Manageable)
{
    internal static LoadRateJson Of(double value, RateTarget target) => new(Math.Round(value, 4), target.Acceptable, target.Manageable);
}

[Description("More alerts at once than anybody takes in: ten in ten minutes, until fewer than five are left.")]
public sealed record FloodJson(DateTimeOffset From, DateTimeOffset To, int Alerts);

[Description("What one device and kind made people hear.")]
public sealed record LoadSourceJson(string Site, string Device, string Kind, int Alerts, double Share, bool Chattering, string NewestAlert);

[Description("The load of one person or one site.")]
public sealed record NamedLoadJson(string Id, string Name, int Alerts, double PerDay, int MostInTenMinutes, string Verdict)
{
    internal static NamedLoadJson Of(NamedLoad named) => new(
        named.Id, named.Name, named.Load.Count, Math.Round(named.Load.PerDay, 4), named.Load.MostInTenMinutes, AlertLoadJson.NameOf(named.Load.Verdict));
}

[Description("How much people were told: each time that they were told that an alert holds counts once. Shares are 0 to 1.")]
public sealed record AlertLoadJson(
    DateTimeOffset From,
    DateTimeOffset To,
    string? Site,
    [property: Description("A mail address; null for everybody.")] string? Person,
    int Alerts,
    [property: Description("silent, quiet, bursts (acceptable on average, at times too many at once), demanding or too-much.")] string Verdict,
    LoadRateJson PerDay,
    LoadRateJson PerHour,
    LoadRateJson PerTenMinutes,
    [property: Description("Share of all moments with more than 30 in the hour before them.")] double BusyHours,
    [property: Description("Share of all moments with more than 10 in the ten minutes before them.")] double BusyTenMinutes,
    int MostInTenMinutes,
    [property: Description("Share of the time that was a flood.")] double InFlood,
    IReadOnlyList<FloodJson> Floods,
    [property: Description("The ten that were heard most.")] IReadOnlyList<LoadSourceJson> Worst,
    double WorstShare,
    int Sources,
    [property: Description("Sources that were heard three times within a minute.")] int Chattering,
    [property: Description("Alerts that ended within a minute and did not come again at once.")] int Fleeting,
    [property: Description("Ids of alerts that stood for more than 24 hours, the longest first.")] IReadOnlyList<string> Stale,
    int MostStale,
    [property: Description("Shares of low, medium, high and critical.")] IReadOnlyDictionary<string, double> Priorities,
    [property: Description("Those who were told by letter, who heard most first; at most 100.")] IReadOnlyList<NamedLoadJson> People,
    [property: Description("The loudest first; at most 100.")] IReadOnlyList<NamedLoadJson> Sites)
{
    internal static AlertLoadJson Of(LoadReport report)
    {
        var load = report.Load;
        return new(
            load.From, load.To, report.Site?.Id, report.Person?.Id, load.Count, NameOf(load.Verdict),
            LoadRateJson.Of(load.PerDay, LoadTargets.PerDay), LoadRateJson.Of(load.PerHour, LoadTargets.PerHour), LoadRateJson.Of(load.PerTenMinutes, LoadTargets.PerTenMinutes),
            Share(load.BusyHours), Share(load.BusyTenMinutes), load.MostInTenMinutes, Share(load.InFlood),
            [.. load.Floods.Select(flood => new FloodJson(flood.From, flood.To, flood.Count))],
            [.. load.Worst.Select(s => new LoadSourceJson(
                s.Source.Site.Value, s.Source.Device.Value, FindingNames.Of(s.Source.Kind), s.Count, Share(s.Share), s.Chatters, s.NewestAlert))],
            Share(load.WorstShare), load.Sources, load.Chattering, load.Fleeting, [.. load.Stale.Select(told => told.Alert)], load.MostStale,
            Enum.GetValues<Priority>().ToDictionary(FindingNames.Of, priority => Share(load.ShareOf(priority))),
            [.. report.People.Select(NamedLoadJson.Of)], [.. report.Sites.Select(NamedLoadJson.Of)]);
    }

    internal static string NameOf(LoadVerdict verdict) => JsonNamingPolicy.KebabCaseLower.ConvertName(verdict.ToString());

    private static double Share(double share) => Math.Round(share, 6);
}

[Description("A share, 0 to 1, with bounds that hold the true one nine times in ten.")]
public sealed record ShareJson(double Value, double Low, double High)
{
    internal static ShareJson? Of(Tally tally) => tally.Share is { } share ? new(Math.Round(share.Value, 4), Math.Round(share.Low, 4), Math.Round(share.High, 4)) : null;
}

[Description("How often alerts of a kind were right, by the cause found where they were closed.")]
public sealed record KindRecordJson(
    [property: Description("Null for all kinds together.")] string? Kind,
    int Closed,
    int Right,
    int Wrong,
    [property: Description("The cause was told in words that do not count.")] int Unsaid,
    [property: Description("Of those that were right or wrong; null when there were none.")] ShareJson? ShareRight,
    [property: Description("Of the causes said with a probability of 0.8 or more, the share that was so.")] ShareJson? SureCauses,
    [property: Description("Mean square of probability less outcome of the causes said: 0 is perfect.")] double? Brier,
    [property: Description("Causes found that count as right for this kind.")] IReadOnlyList<string> RightWith)
{
    internal static KindRecordJson Of(FindingKind? kind, KindRecord record) => new(
        kind is { } one ? FindingNames.Of(one) : null, record.Closed, record.Right.Hits, record.Wrong, record.Unsaid, ShareJson.Of(record.Right),
        ShareJson.Of(record.Causes.Sure), record.Causes.Brier is { } brier ? Math.Round(brier, 4) : null,
        kind is { } named ? [FindingNames.Of(named), .. FoundCauses.Explaining(named)] : []);
}

[Description("How often alerts were right.")]
public sealed record AlertRecordJson(
    KindRecordJson Total,
    [property: Description("Every kind, also those of which none was closed.")] IReadOnlyList<KindRecordJson> Kinds,
    [property: Description("The causes found that count; any other text is kept as written.")] IReadOnlyList<string> Causes)
{
    internal static AlertRecordJson Of(AlertRecord record) => new(
        KindRecordJson.Of(null, record.Total),
        [.. Enum.GetValues<FindingKind>().Select(kind => KindRecordJson.Of(kind, record.Kinds.GetValueOrDefault(kind, KindRecord.Nothing)))], FoundCauses.All);
}
