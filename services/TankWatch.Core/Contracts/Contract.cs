using System.Collections.Immutable;
using TankWatch.Core.Findings;

namespace TankWatch.Core.Contracts;

/// <summary>What an installer promises for a site.</summary>
/// <param name="Since">The first local day on which it holds.</param>
/// <param name="Until">The last, included; null while no end is agreed.</param>
/// <param name="ResponseMinutes">Within how many minutes that count somebody answers an alert, by its priority; a priority that is left out has no target.</param>
/// <param name="Hours">In which those minutes run.</param>
/// <param name="VisitsPerYear">Routine visits, 0 to <see cref="MostVisits"/>.</param>
/// <param name="ReportDay">Of the month, 1 to <see cref="LastReportDay"/>.</param>
public sealed record Contract(
    DateOnly Since, DateOnly? Until, ImmutableSortedDictionary<Priority, int> ResponseMinutes, WorkingHours Hours, int VisitsPerYear, int ReportDay)
{
    /// <summary>Ten days.</summary>
    public const int MostResponseMinutes = 10 * 24 * 60;

    public const int MostVisits = 52;

    /// <summary>Every month has this day.</summary>
    public const int LastReportDay = 28;

    public bool HoldsOn(DateOnly day) => Since <= day && (Until is not { } last || day <= last);

    public TimeSpan? TargetFor(Priority priority) => ResponseMinutes.TryGetValue(priority, out var minutes) ? TimeSpan.FromMinutes(minutes) : null;

    /// <summary>Routine visits that fall due in a month: spread evenly over the years of the contract, each at the end of its share.</summary>
    /// <param name="month">Its first day.</param>
    /// <remarks>Four a year are due in the 3rd, 6th, 9th and 12th month; the month of <see cref="Since"/> is the first.</remarks>
    public int VisitsDueIn(DateOnly month)
    {
        var begun = ((month.Year - Since.Year) * 12) + month.Month - Since.Month;
        return begun < 0 || month > Until ? 0 : (VisitsPerYear * (begun + 1) / 12) - (VisitsPerYear * begun / 12);
    }
}
