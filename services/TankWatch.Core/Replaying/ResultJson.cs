using System.Text.Json;
using TankWatch.Core.Findings;
using TankWatch.Core.Observations;
using TankWatch.Core.Periods;
using TankWatch.Core.Texts;
using TankWatch.Core.Time;
using TankWatch.Core.Timelines;

namespace TankWatch.Core.Replaying;

/// <summary>
/// The published JSON of findings, runs and days, used by replay and by the service alike. An unknown quantity's whole member is null.
/// Litres, seconds and the like are rounded to what the probes can tell, so that two runs of one input give the same bytes.
/// </summary>
public static class ResultJson
{
    private static readonly JsonWriterOptions Options = new() { Indented = true };

    public static void Write(Stream output, ReplayResult result)
    {
        using var json = new Utf8JsonWriter(output, Options);
        json.WriteStartObject();
        json.WriteString("site", result.Plan.Id.Value);
        Time(json, "from", result.From);
        Time(json, "to", result.To);
        json.WriteNumber("messages", result.Messages);
        json.WriteNumber("refused", result.Refused);
        List(json, "findings", result.Findings, Write);
        List(json, "runs", result.Runs, Write);
        List(json, "days", result.Days, (j, day) => Write(j, day, SitePeriod.Of(result.Plan, day.Date, day.Date, [day])));
        json.WriteEndObject();
    }

    public static void Write(Utf8JsonWriter json, Finding finding)
    {
        json.WriteStartObject();
        WriteMembers(json, finding);
        json.WriteEndObject();
    }

    /// <summary>A finding's members without its braces, so that an alert can carry them too.</summary>
    public static void WriteMembers(Utf8JsonWriter json, Finding finding)
    {
        json.WriteString("kind", FindingNames.Of(finding.Kind));
        json.WriteString("device", finding.Device.Value);
        json.WriteString("priority", FindingNames.Of(finding.Priority));
        Time(json, "since", finding.Since);
        Time(json, "raisedAt", finding.RaisedAt);
        Time(json, "clearedAt", finding.ClearedAt);
        if (finding.Estimate is { } size)
        {
            json.WriteStartObject("estimate");
            json.WriteString("quantity", size.Name);
            Members(json, size.Size, 1);
            json.WriteString("unit", size.Unit);
            json.WriteEndObject();
        }
        else
        {
            json.WriteNull("estimate");
        }

        List(json, "causes", finding.Causes, (j, cause) =>
        {
            j.WriteStartObject();
            j.WriteString("cause", cause.Name);
            j.WriteNumber("probability", Math.Round(cause.Probability, 3));
            j.WriteEndObject();
        });
        var text = finding.Text.In(Languages.English);
        json.WriteString("summary", text.Summary);
        List(json, "evidence", text.Evidence, (j, line) => j.WriteStringValue(line));
        List(json, "advice", text.Advice, (j, line) => j.WriteStringValue(line));
        List(json, "cautions", text.Cautions, (j, line) => j.WriteStringValue(line));
    }

    public static void Write(Utf8JsonWriter json, PumpRun run)
    {
        json.WriteStartObject();
        json.WriteString("pump", run.Pump.Value);
        Time(json, "startedAt", run.StartedAt);
        Time(json, "stoppedAt", run.StoppedAt);
        json.WriteString("startCause", PumpCauses.Of(run.StartCause));
        json.WriteString("stopCause", run.StopCause is { } cause ? PumpCauses.Of(cause) : null);
        Write(json, "deliveredLitres", run.Delivered, 1);
        Write(json, "litresPerMinute", run.Delivery, 2);
        json.WriteEndObject();
    }

    /// <param name="json">Takes it.</param>
    /// <param name="day">The day.</param>
    /// <param name="period">The same day as a period: what its figures come to.</param>
    private static void Write(Utf8JsonWriter json, SiteDay day, SitePeriod period)
    {
        json.WriteStartObject();
        json.WriteString("date", day.Date.ToString("yyyy-MM-dd", System.Globalization.CultureInfo.InvariantCulture));
        json.WriteBoolean("complete", day.Complete);
        json.WriteNumber("known", Math.Round(period.Known, 3));
        Write(json, "usedLitresPerPerson", period.MeanDay.UsedLitresPerPerson?.Of, 1);
        List(json, "pumps", period.Pumps, Write);
        List(json, "tanks", period.Tanks, Write);
        json.WriteEndObject();
    }

    private static void Write(Utf8JsonWriter json, PumpPeriod pump)
    {
        json.WriteStartObject();
        json.WriteString("pump", pump.Pump.Value);
        json.WriteNumber("starts", pump.Starts);
        json.WriteNumber("runSeconds", Math.Round(pump.RunSeconds, 3));
        json.WriteNumber("longestRunSeconds", Math.Round(pump.LongestRunSeconds, 3));
        json.WriteNumber("dryTrips", pump.DryTrips);
        Write(json, "deliveredLitres", pump.DeliveredLitres, 1);
        Write(json, "litresPerMinute", pump.LitresPerMinute, 2);
        Write(json, "energyKwh", pump.EnergyKwh, 4);
        Write(json, "wattHoursPerCubicMetre", pump.WattHoursPerCubicMetre, 1);
        Number(json, "leastWattHoursPerCubicMetre", pump.LeastWattHoursPerCubicMetre, 1);
        json.WriteEndObject();
    }

    private static void Write(Utf8JsonWriter json, TankPeriod tank)
    {
        json.WriteStartObject();
        json.WriteString("tank", tank.Tank.Value);
        Write(json, "usedLitres", tank.UsedLitres, 1);
        Write(json, "leakLitresPerHour", tank.LeakLitresPerHour, 1);
        Number(json, "secondsBelowLowest", tank.SecondsBelowLowest, 3);
        json.WriteNumber("known", Math.Round(tank.Known, 3));
        Write(json, "availability", tank.Availability, 5);
        json.WriteEndObject();
    }

    private static void Number(Utf8JsonWriter json, string name, double? number, int decimals)
    {
        if (number is { } known)
        {
            json.WriteNumber(name, Math.Round(known, decimals));
        }
        else
        {
            json.WriteNull(name);
        }
    }

    public static void Write(Utf8JsonWriter json, string name, Estimate? estimate, int decimals)
    {
        if (estimate is not { } known)
        {
            json.WriteNull(name);
            return;
        }

        json.WriteStartObject(name);
        Members(json, known, decimals);
        json.WriteEndObject();
    }

    private static void Members(Utf8JsonWriter json, Estimate estimate, int decimals)
    {
        json.WriteNumber("value", Math.Round(estimate.Value, decimals));
        json.WriteNumber("low", Math.Round(estimate.Low, decimals));
        json.WriteNumber("high", Math.Round(estimate.High, decimals));
    }

    private static void Time(Utf8JsonWriter json, string name, DateTimeOffset? time)
    {
        if (time is { } known)
        {
            json.WriteString(name, Rfc3339.Format(known));
        }
        else
        {
            json.WriteNull(name);
        }
    }

    private static void List<T>(Utf8JsonWriter json, string name, IEnumerable<T> items, Action<Utf8JsonWriter, T> write)
    {
        json.WriteStartArray(name);
        foreach (var item in items)
        {
            write(json, item);
        }

        json.WriteEndArray();
    }
}
