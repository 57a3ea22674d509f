using System.Globalization;
using System.Text;
using System.Text.Json.Nodes;

namespace TankWatch.Simulator.Trials;

/// <summary>Writes a trial as a folder of three files: <c>site.json</c>, <c>recording.jsonl</c> and <c>truth.json</c>.</summary>
public static class TrialFolder
{
    /// <param name="trial">What was done.</param>
    /// <param name="record">What it gave.</param>
    /// <param name="folder">Made when it is not there; files in it are replaced.</param>
    /// <exception cref="IOException">The folder cannot be written.</exception>
    public static void Write(Trial trial, TrialRecord record, string folder)
    {
        ArgumentNullException.ThrowIfNull(trial);
        ArgumentNullException.ThrowIfNull(record);
        Directory.CreateDirectory(folder);
        File.WriteAllText(Path.Combine(folder, "site.json"), trial.SiteFile);
        File.WriteAllText(Path.Combine(folder, "truth.json"), Truth(trial, record).ToJsonString());
        using var recording = new StreamWriter(Path.Combine(folder, "recording.jsonl"), append: false, new UTF8Encoding(false));
        Recordings.Write(record.Messages, recording);
    }

    private static JsonObject Truth(Trial trial, TrialRecord record) => new()
    {
        ["scenario"] = trial.Name,
        ["title"] = trial.Sort.ToString(),
        ["healthy"] = trial.Events.IsEmpty,
        ["expect_alarm"] = trial.Events.Any(e => !e.Benign),
        ["start_utc"] = Time(trial.Options.Start),
        ["end_utc"] = Time(trial.End),
        ["days"] = trial.Days,
        ["faults"] = new JsonArray([.. trial.Events.Select(Event)]),
        ["manual_starts_utc"] = new JsonArray(),
        ["summary"] = new JsonObject { ["all"] = new JsonObject { ["days"] = trial.Days, ["dry_cutouts"] = record.Days.Sum(d => d.DryCutOuts) } },
        ["daily"] = new JsonArray([.. record.Days.Select(Day)]),
    };

    private static JsonObject Event(TrialEvent done)
    {
        var json = new JsonObject
        {
            ["label"] = done.Label,
            ["kind"] = done.Benign ? "benign" : "fault",
            ["onset_utc"] = Time(done.Onset),
            ["end_utc"] = done.End is { } end ? Time(end) : null,
            ["size"] = done.Size,
            ["unit"] = done.Unit,
        };
        if (done.Device is { } device)
        {
            json["device"] = device;
        }

        return json;
    }

    private static JsonObject Day(TrialDay day) => new()
    {
        ["date_local"] = day.Date.ToString("yyyy-MM-dd", CultureInfo.InvariantCulture),
        ["demand_l"] = Math.Round(day.Demand, 2),
        ["leak_l"] = Math.Round(day.Leak, 2),
        ["pumped_l"] = Math.Round(day.Pumped, 2),
        ["back_drain_l"] = Math.Round(day.BackDrain, 2),
        ["pump_runs"] = day.PumpRuns,
        ["pump_minutes"] = Math.Round(day.PumpMinutes, 2),
        ["mean_delivery_lpm"] = day.MeanDelivery is { } delivery ? Math.Round(delivery, 3) : null,
        ["dry_cutouts"] = day.DryCutOuts,
    };

    private static string Time(DateTimeOffset at) => at.UtcDateTime.ToString("yyyy-MM-dd'T'HH:mm:ss.fff'Z'", CultureInfo.InvariantCulture);
}
