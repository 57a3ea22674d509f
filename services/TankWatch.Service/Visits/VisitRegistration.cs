namespace TankWatch.Service.Visits;

internal static class VisitRegistration
{
    public static IServiceCollection AddVisits(this IServiceCollection services) => services.AddSingleton<VisitDesk>().AddSingleton<ContractReader>();
}
