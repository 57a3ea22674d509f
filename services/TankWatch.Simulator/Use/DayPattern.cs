namespace TankWatch.Simulator.Use;

/// <summary>How a home's use of water is spread over the local day: morning and evening peaks, and a tenth of the mean at night.</summary>
internal static class DayPattern
{
    // Relative to the mean hour; each sums to 24 after Normalised.
    private static readonly double[] Weekday = Normalised(
    [
        0.18, 0.10, 0.10, 0.10, 0.18, 0.60, 1.60, 2.30, 2.00, 1.40, 1.10, 1.00,
        1.00, 0.95, 0.85, 0.85, 1.00, 1.30, 1.70, 1.90, 1.60, 1.10, 0.70, 0.39,
    ]);

    private static readonly double[] Weekend = Normalised(
    [
        0.25, 0.14, 0.10, 0.10, 0.12, 0.30, 0.80, 1.50, 2.10, 2.20, 1.80, 1.50,
        1.35, 1.20, 1.05, 1.00, 1.05, 1.25, 1.55, 1.70, 1.50, 1.10, 0.80, 0.54,
    ]);

    private const double WeekendScale = 1.08;

    /// <returns>Use at that local time over the mean use of a weekday; the hours' values hold at half past and are joined by straight lines.</returns>
    public static double At(DateTime local)
    {
        var weekend = local.DayOfWeek is DayOfWeek.Saturday or DayOfWeek.Sunday;
        var hours = weekend ? Weekend : Weekday;
        var value = Between(hours, local);
        return weekend ? WeekendScale * value : value;
    }

    /// <returns>Between the values of 24 hours, each of which holds at half past.</returns>
    public static double Between(double[] hours, DateTime local)
    {
        var position = local.TimeOfDay.TotalHours + 23.5;
        var before = (int)position;
        var share = position - before;
        return ((1 - share) * hours[before % 24]) + (share * hours[(before + 1) % 24]);
    }

    private static double[] Normalised(double[] hours)
    {
        var mean = hours.Average();
        return [.. hours.Select(h => h / mean)];
    }
}
