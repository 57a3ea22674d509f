using TankWatch.Service.Api.Contract;

namespace TankWatch.Service.Api.Csv;

/// <summary>The figures of a period and of the one before as one table, a row for each pump and tank.</summary>
internal static class SummaryCsv
{
    private static readonly string[] Columns =
    [
        "site", "period", "from", "to", "complete", "days known", "device", "starts", "run time (s)", "longest run (s)", "dry trips",
        "delivered (L)", "delivered low (L)", "delivered high (L)", "delivery (L/min)", "delivery low (L/min)", "delivery high (L/min)",
        "energy (kWh)", "energy low (kWh)", "energy high (kWh)", "used (L)", "used low (L)", "used high (L)",
        "leak (L/h)", "leak low (L/h)", "leak high (L/h)", "below lowest probe (s)",
        "energy (Wh/m3)", "energy low (Wh/m3)", "energy high (Wh/m3)", "least for the lift (Wh/m3)",
        "known", "availability", "availability low", "availability high",
    ];

    public static CsvResult Of(SummaryJson summary) => new(
        $"{summary.Site}-{summary.Period}-{summary.Current.From:yyyy-MM-dd}", Columns,
        [.. Rows(summary, "current", summary.Current), .. Rows(summary, "previous", summary.Previous)]);

    private static IEnumerable<IReadOnlyList<object?>> Rows(SummaryJson summary, string which, PeriodJson period)
    {
        object?[] head = [summary.Site, $"{which} {summary.Period}", period.From, period.To, period.Complete, period.DaysKnown];
        foreach (var pump in period.Pumps)
        {
            yield return
            [
                .. head, pump.Pump, pump.Starts, pump.RunSeconds, pump.LongestRunSeconds, pump.DryTrips,
                .. Cells(pump.DeliveredLitres), .. Cells(pump.LitresPerMinute), .. Cells(pump.EnergyKwh), .. Cells(null), .. Cells(null), null,
                .. Cells(pump.WattHoursPerCubicMetre), pump.LeastWattHoursPerCubicMetre, null, .. Cells(null),
            ];
        }

        foreach (var tank in period.Tanks)
        {
            yield return
            [
                .. head, tank.Tank, null, null, null, null, .. Cells(null), .. Cells(null), .. Cells(null),
                .. Cells(tank.UsedLitres), .. Cells(tank.LeakLitresPerHour), tank.SecondsBelowLowest, .. Cells(null), null, tank.Known, .. Cells(tank.Availability),
            ];
        }
    }

    /// <summary>Unknown is empty, never 0.</summary>
    private static object?[] Cells(EstimateJson? estimate) => [estimate?.Value, estimate?.Low, estimate?.High];
}
