using System.Collections.Immutable;
using System.Globalization;
using Microsoft.AspNetCore.WebUtilities;
using TankWatch.Core.Periods;
using TankWatch.Core.Time;
using TankWatch.Service.Api;
using TankWatch.Service.Api.Contract;
using TankWatch.Service.Pages.Alerts;
using TankWatch.Service.Pages.Visits;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Pages.Building;

/// <summary>What the page of one building says; how it looks is the page's business.</summary>
public sealed class BuildingView
{
    private const int PastShown = 10;

    /// <param name="site">The building.</param>
    /// <param name="now">UTC.</param>
    /// <param name="shown">What its strip shows.</param>
    /// <param name="figures">Of the period asked for.</param>
    /// <param name="figuresProblem">What was wrong with that period.</param>
    /// <param name="today">Figures of the day so far.</param>
    /// <param name="account">What whole days come to.</param>
    /// <param name="series">For the last runs and days.</param>
    /// <param name="ledger">For the past alerts.</param>
    /// <param name="before">The past alert to go on after; null for the newest.</param>
    internal BuildingView(
        SiteView site, DateTimeOffset now, BuildingWindow shown, FiguresView figures, string? figuresProblem, PeriodJson today,
        AccountView account, SeriesStore series, LedgerStore ledger, string? before)
    {
        var plan = site.Plan;
        (Site, Shown, Figures, FiguresProblem, Account, Before) = (site, shown, figures, figuresProblem, account, before);
        Opening = OpeningView.Of(site, now);
        HeardAt = site.Units.Max(unit => unit.HeardAt);
        Open = [.. WorstFirst.Order(site.OpenAlerts).Select(alert => AlertView.Of(alert, now, plan.TimeZone))];
        Tanks = [.. plan.Tanks.Select(tank => TankView.Of(site, tank, today.Tanks.FirstOrDefault(t => t.Tank == tank.Id.Value)?.SecondsBelowLowest, now))];
        Pumps = [.. plan.Pumps.Select(pump => PumpView.Of(site, pump, today.Pumps.FirstOrDefault(p => p.Pump == pump.Id.Value)?.DryTrips, series, now))];
        Drawings = [.. plan.Pumps.Select(pump => ArrangementDrawing.Of(plan, pump))];
        Arrangement = ArrangementWords.Of(plan);
        Expected = ExpectedView.Of(plan);
        var past = Query.Page(ledger.ListAlerts(new(plan.Id, "normal", null, null, null), before, PastShown + 1), PastShown, alert => alert.Id);
        Past = [.. past.Items.Select(alert => AlertView.Of(alert, now, plan.TimeZone))];
        NextPast = past.Next;
        Today = LocalDays.DateOf(now, plan.TimeZone);
        NextVisit = VisitsView.NextVisit(ledger.FindNextVisit(plan.Id), plan.TimeZone, now);
        Use = UseChart.Of(UsePattern.Of(site.State.Timeline, plan));
        var days = series.ListDays(plan.Id, Today.AddDays(-DeliveryChart.Days), Today.AddDays(-1));
        Delivery = [.. plan.Pumps.Select(pump => DeliveryChart.Of(pump, days, Today)).OfType<DeliveryChart>()];
    }

    public SiteView Site { get; }
    public BuildingWindow Shown { get; }
    public OpeningView Opening { get; }
    public DateTimeOffset? HeardAt { get; }
    public IReadOnlyList<AlertView> Open { get; }
    public IReadOnlyList<TankView> Tanks { get; }
    public IReadOnlyList<PumpView> Pumps { get; }
    public FiguresView Figures { get; }
    public string? FiguresProblem { get; }
    public AccountView Account { get; }
    public IReadOnlyList<UseChart> Use { get; }

    /// <summary>Of the pumps of which it is known.</summary>
    public IReadOnlyList<DeliveryChart> Delivery { get; }

    public IReadOnlyList<AlertView> Past { get; }

    /// <summary>The past alert that the next page goes on after; null at the end.</summary>
    public string? NextPast { get; }

    public IReadOnlyList<ArrangementDrawing> Drawings { get; }
    public IReadOnlyList<ImmutableArray<Said>> Arrangement { get; }
    public ExpectedView Expected { get; }
    public DateOnly Today { get; }

    /// <summary>One sentence; null when no visit is planned.</summary>
    public string? NextVisit { get; }
    public string Address => $"/sites/{Site.Plan.Id}";

    /// <summary>The past alert that this page goes on after.</summary>
    public string? Before { get; }

    /// <summary>The local day that the strip's last moment lies in, as a date field takes it.</summary>
    public string LastDay => (Shown.On ?? LocalDays.DateOf(Shown.Window.To.AddTicks(-1), Site.Plan.TimeZone)).ToString("yyyy-MM-dd", CultureInfo.InvariantCulture);

    public string StripLink(string view) => Link("days", view, Shown.On, Figures.Period, null);

    public string FiguresLink(string period) => Link("figures", Shown.View, Shown.On, period, null);

    public string PastLink(string? before) => Link("past", Shown.View, Shown.On, Figures.Period, before);

    /// <summary>This page, changed in one respect; what is usual is left out.</summary>
    private string Link(string part, string view, DateOnly? on, string figures, string? before)
    {
        var query = new Dictionary<string, string?>
        {
            ["view"] = view is "day" or "" ? null : view,
            ["on"] = on?.ToString("yyyy-MM-dd", CultureInfo.InvariantCulture),
            ["from"] = view == "" ? Rfc3339.Format(Shown.Window.From) : null,
            ["to"] = view == "" ? Rfc3339.Format(Shown.Window.To) : null,
            ["figures"] = figures == "day" ? null : figures,
            ["before"] = before,
        };
        return QueryHelpers.AddQueryString(Address, query.Where(pair => pair.Value is not null)) + "#" + part;
    }
}
