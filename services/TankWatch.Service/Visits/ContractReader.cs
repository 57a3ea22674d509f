using TankWatch.Core.Contracts;
using TankWatch.Core.Sites;
using TankWatch.Core.Time;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Visits;

/// <summary>A contract and what came of it in one month.</summary>
/// <param name="Contract">As it is now: a month is measured by what is promised now.</param>
/// <param name="Month">So far, for the present one.</param>
internal sealed record MeasuredContract(Contract Contract, ContractMonth Month);

/// <summary>Reads how a contract was kept, for a page, the API and a report.</summary>
internal sealed class ContractReader(LedgerStore ledger, TimeProvider time)
{
    private const int MostVisits = 10_000;

    public DateOnly ThisMonth(SitePlan site) => LocalDays.DateOf(time.GetUtcNow(), site.TimeZone);

    /// <param name="site">Whose.</param>
    /// <param name="day">Any day of the month.</param>
    /// <returns>Null without a contract.</returns>
    public MeasuredContract? Read(SitePlan site, DateOnly day)
    {
        if (ledger.FindContract(site.Id) is not { } contract)
        {
            return null;
        }

        var first = new DateOnly(day.Year, day.Month, 1);
        var visits = ledger.ListVisits(site.Id, null, MostVisits);
        var told = ledger.ListTold(site.Id, LocalDays.StartOf(first, site.TimeZone), LocalDays.StartOf(first.AddMonths(1), site.TimeZone), visits);
        return new(contract, ContractMonth.Of(contract, first, told, visits, site.TimeZone, time.GetUtcNow()));
    }
}
