namespace TankWatch.Service.Api;

/// <summary>A kind of period, and the one that a day lies in.</summary>
/// <param name="Name">day, week or month.</param>
/// <param name="Around">First and last day, both included.</param>
internal sealed record Period(string Name, Func<DateOnly, (DateOnly From, DateOnly To)> Around)
{
    private static readonly Period[] All =
    [
        new("day", day => (day, day)),
        new("week", day =>
        {
            var monday = day.AddDays(-(((int)day.DayOfWeek + 6) % 7)); // ISO 8601.
            return (monday, monday.AddDays(6));
        }),
        new("month", day =>
        {
            var first = new DateOnly(day.Year, day.Month, 1);
            return (first, first.AddMonths(1).AddDays(-1));
        }),
    ];

    public static Period? Find(string name) => Array.Find(All, period => period.Name == name);
}
