using TankWatch.Core.Sites;

namespace TankWatch.Simulator.Faults;

/// <summary>The faults that are present now, each with its device made definite.</summary>
internal sealed class FaultSchedule(SitePlan plan)
{
    private readonly List<Fault> _present = [];

    public void Begin(Fault fault) => _present.Add(fault);

    public void End(Fault fault) => _present.Remove(fault);

    /// <summary>The newest fault of that kind that sits in the device, or in the whole site; null if none.</summary>
    public Fault? Find(FaultKind kind, string? device = null)
    {
        for (var i = _present.Count - 1; i >= 0; i--)
        {
            var fault = _present[i];
            if (fault.Kind == kind && (fault.Device is null || device is null || string.Equals(fault.Device, device, StringComparison.Ordinal)))
            {
                return fault;
            }
        }

        return null;
    }

    public bool Has(FaultKind kind, string? device = null) => Find(kind, device) is not null;

    /// <summary>The fault with its device named, so that no later look-up has to choose.</summary>
    /// <exception cref="ArgumentException">The site has no such device, or none of the sort the kind sits in.</exception>
    public Fault Resolve(Fault fault)
    {
        var target = FaultCatalogue.Of(fault.Kind).Target;
        if (fault.Device is null)
        {
            return target is FaultTarget.Site ? fault : fault with { Device = FindDefault(target) ?? throw Misplaced(fault) };
        }

        return Fits(target, fault.Device) ? fault : throw Misplaced(fault);
    }

    private string? FindDefault(FaultTarget target) => target switch
    {
        FaultTarget.Tank => plan.Tanks.FirstOrDefault(t => t.Role is TankRole.Overhead)?.Id.Value,
        FaultTarget.Source when plan.Pumps is [{ From: { } sump }, ..] => plan.Tanks[sump].Id.Value,
        FaultTarget.Source or FaultTarget.Pump => plan.Pumps.FirstOrDefault()?.Id.Value,
        _ => plan.Units.FirstOrDefault()?.Id.Value,
    };

    private bool Fits(FaultTarget target, string device) => target switch
    {
        FaultTarget.Site or FaultTarget.Tank => plan.FindTank(device) is not null,
        FaultTarget.Source => plan.FindTank(device) is { Role: TankRole.Sump } || plan.FindPump(device) is { From: null },
        FaultTarget.Pump => plan.FindPump(device) is not null,
        _ => plan.FindUnit(new(device)) is not null,
    };

    private ArgumentException Misplaced(Fault fault) => new(
        $"Site {plan.Id} has no device {fault.Device ?? "at all"} for the fault {FaultCatalogue.Of(fault.Kind).Name}.", nameof(fault));
}
