using TankWatch.Core.Periods;
using TankWatch.Core.Timelines;
using TankWatch.Service.Api.Contract;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Api;

/// <summary>The figures of a period and of the one before, for API and page alike.</summary>
internal sealed class SummaryReader(SeriesStore series)
{
    /// <param name="view">The site.</param>
    /// <param name="period">Its kind.</param>
    /// <param name="day">Any local day in it.</param>
    public SummaryJson Read(SiteView view, Period period, DateOnly day)
    {
        var (current, previous) = Compare(view, period, day);
        return new(view.Plan.Id.Value, period.Name, PeriodJson.Of(current), PeriodJson.Of(previous), MeanDay.StandardLitresPerPerson);
    }

    /// <summary>The same before it is rounded.</summary>
    public (SitePeriod Current, SitePeriod Previous) Compare(SiteView view, Period period, DateOnly day)
    {
        var current = period.Around(day);
        return (Of(current), Of(period.Around(current.From.AddDays(-1))));

        SitePeriod Of((DateOnly From, DateOnly To) span) => SitePeriod.Of(
            view.Plan, span.From, span.To, WithDayInProgress(series.ListDays(view.Plan.Id, span.From, span.To), view, span));
    }

    /// <summary>The store has the days that ended; the one in progress is told from the state, as not complete.</summary>
    private static IReadOnlyList<SiteDay> WithDayInProgress(IReadOnlyList<SiteDay> stored, SiteView view, (DateOnly From, DateOnly To) span) =>
        view.State is { Day: { } open, Last: not null } state && open.Date >= span.From && open.Date <= span.To
            ? [.. stored.Where(day => day.Date != open.Date), open.UpTo(state.At, state.Timeline, view.Plan)]
            : stored;
}
