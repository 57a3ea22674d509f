using TankWatch.Core.Sites;
using TankWatch.Simulator.Control;
using TankWatch.Simulator.Faults;
using TankWatch.Simulator.Units;
using TankWatch.Simulator.Use;
using TankWatch.Simulator.Water;

namespace TankWatch.Simulator;

/// <summary>
/// A site that lives: people draw water, probes get wet and dry, pumps start and stop, units report, and things break.
/// It goes from event to event and reads no clock, so it runs as well in real time, a second at a call, as a month at once.
/// </summary>
/// <remarks>Not safe for use by several threads at once.</remarks>
public sealed class SimulatedSite
{
    private const long MinuteMs = 60_000;

    private readonly Agenda _agenda = new();
    private readonly Outbox _outbox = new();
    private readonly FaultSchedule _faults;
    private readonly Mains _mains;
    private readonly WaterUse _use;
    private readonly PublicSupply _supply;
    private readonly Waterworks _works;
    private readonly ProbeSet[] _probes;
    private readonly PumpControl[] _controls;
    private readonly SiteReports _reports;
    private readonly long _tickMs;
    private long _nowMs;
    private long _advancedToMs;
    private long _nextMarkMs;

    /// <param name="plan">What is installed.</param>
    /// <param name="options">What is true of it besides.</param>
    /// <param name="faults">What goes wrong, each at its time; more may be added later.</param>
    /// <exception cref="ArgumentException">A fault or a top-up names a device the site does not have.</exception>
    public SimulatedSite(SitePlan plan, SimulationOptions options, IEnumerable<Fault>? faults = null)
    {
        ArgumentNullException.ThrowIfNull(plan);
        ArgumentNullException.ThrowIfNull(options);
        Plan = plan;
        _nowMs = options.Start.ToUnixTimeMilliseconds();
        _advancedToMs = _nowMs;
        _tickMs = (long)options.Tick.TotalMilliseconds;
        _faults = new FaultSchedule(plan);
        _mains = new Mains(options, plan.Id.Value, _faults);
        _use = new WaterUse(plan, options, _faults, _agenda);
        _supply = new PublicSupply(plan, options, _faults, _use.LitresPerDay);
        _works = new Waterworks(plan, options, _faults);
        _probes = [.. _works.Tanks.Select(t => new ProbeSet(t, options, plan.Id.Value, _faults, _agenda))];
        _controls = [.. _works.Pumps.Select(p => new PumpControl(p, _probes, _mains, options, _faults, _agenda))];
        var units = plan.Units.Select(u => new SimulatedUnit(u, plan.Id.Value, options, _faults, _agenda, _outbox));
        _reports = new SiteReports([.. units], _probes, _controls, _works, _mains, _agenda, options);
        Begin(options, faults ?? []);
    }

    public SitePlan Plan { get; }

    /// <summary>What really is and was.</summary>
    public SiteTruth Truth => _works.TruthAt(Now);

    private DateTimeOffset Now => DateTimeOffset.FromUnixTimeMilliseconds(_nowMs);

    /// <summary>Lets the site live on to <paramref name="to"/>.</summary>
    /// <returns>The messages that have reached the broker since the last call, in order of arrival. How the time is cut into calls changes nothing.</returns>
    /// <exception cref="ArgumentOutOfRangeException"><paramref name="to"/> is before the last call's.</exception>
    public IReadOnlyList<SimulatedMessage> Advance(DateTimeOffset to)
    {
        var toMs = to.ToUnixTimeMilliseconds();
        ArgumentOutOfRangeException.ThrowIfLessThan(toMs, _advancedToMs, nameof(to));
        while (Math.Min(_agenda.NextMs, _nextMarkMs) is var nextMs && nextMs <= toMs)
        {
            StepTo(nextMs);
        }

        _advancedToMs = toMs;
        return _outbox.TakeArrived(DateTimeOffset.FromUnixTimeMilliseconds(toMs));
    }

    /// <summary>Adds a fault to come; an onset that is past becomes now.</summary>
    /// <exception cref="ArgumentException">The site has no such device.</exception>
    public void Add(Fault fault)
    {
        ArgumentNullException.ThrowIfNull(fault);
        var definite = _faults.Resolve(fault);
        var fromMs = Math.Max(definite.From.ToUnixTimeMilliseconds(), _advancedToMs);
        _agenda.At(fromMs, () => BeginFault(definite));
        if (definite.To is { } to)
        {
            _agenda.At(Math.Max(to.ToUnixTimeMilliseconds(), fromMs), () => EndFault(definite));
        }
    }

    /// <summary>Asks a pump to fill its tanks to the top; a time that is past becomes now.</summary>
    /// <exception cref="ArgumentException">The site has no such pump.</exception>
    public void RequestTopUp(string pump, DateTimeOffset at)
    {
        var plan = Plan.FindPump(pump) ?? throw new ArgumentException($"Site {Plan.Id} has no pump {pump}.", nameof(pump));
        _agenda.At(Math.Max(at.ToUnixTimeMilliseconds(), _advancedToMs), _controls[plan.Index].RequestTopUp);
    }

    private void Begin(SimulationOptions options, IEnumerable<Fault> faults)
    {
        foreach (var fault in faults)
        {
            Add(fault);
        }

        foreach (var request in options.TopUps)
        {
            RequestTopUp(request.Pump, request.At);
        }

        _agenda.At(_nowMs, () => _reports.Begin(_nowMs));
        _agenda.At(_nowMs, PassTick);
        _nextMarkMs = long.MaxValue;
    }

    private void StepTo(long nextMs)
    {
        _works.Pass((nextMs - _nowMs) / 1000.0);
        _nowMs = nextMs;
        while (_agenda.TryTake(_nowMs, out var act))
        {
            act();
        }

        Settle();
    }

    /// <summary>Probes, then controls, then flows: the order in which water makes itself felt.</summary>
    private void Settle()
    {
        foreach (var probes in _probes)
        {
            if (probes.Sense(_nowMs))
            {
                _reports.Level(probes, _nowMs);
            }
        }

        foreach (var control in _controls)
        {
            if (control.Decide(_nowMs))
            {
                SolveFlows(); // For the watts that the message carries.
                _reports.Pump(control, _nowMs);
            }
        }

        SolveFlows();
        _reports.Inlets(_nowMs);
        FindNextMark();
    }

    private void SolveFlows() => _works.Solve(Now, _supply.LitresPerSecond, _use.LitresPerSecond, _mains.MotorSpeed);

    private void FindNextMark()
    {
        var seconds = _works.SecondsToMark();
        foreach (var probes in _probes)
        {
            seconds = Math.Min(seconds, probes.SecondsToMark());
        }

        // Rounded up, so that the mark has been passed, and at least a millisecond, so that time goes on.
        _nextMarkMs = seconds < MinuteMs ? _nowMs + Math.Max(1, (long)Math.Ceiling(seconds * 1000)) : long.MaxValue;
    }

    private void PassTick()
    {
        var local = TimeZoneInfo.ConvertTime(Now, Plan.TimeZone).DateTime;
        _mains.Wander();
        _supply.Update(local);
        _use.PlanTick(_nowMs, local);
        _reports.Volts(_nowMs);
        _agenda.At(_nowMs + _tickMs, PassTick);
    }

    private void BeginFault(Fault fault)
    {
        _faults.Begin(fault);
        switch (fault.Kind)
        {
            case FaultKind.ChatteringProbe:
                FindProbes(fault).Shake(_nowMs);
                break;
            case FaultKind.LeftInManual:
                FindControl(fault).LeaveInManual(fault, _nowMs);
                _reports.Pump(FindControl(fault), _nowMs);
                break;
            case FaultKind.UnitRestart:
                _reports.Restart(fault.Device!, _nowMs);
                break;
            default:
                break;
        }

        FollowFaults();
    }

    private void EndFault(Fault fault)
    {
        _faults.End(fault);
        if (fault.Kind is FaultKind.LeftInManual)
        {
            FindControl(fault).ReturnToAutomatic();
            _reports.Pump(FindControl(fault), _nowMs);
        }

        FollowFaults();
    }

    private void FollowFaults()
    {
        _mains.Update();
        _supply.ApplyFaults();
        _reports.FollowFaults(_nowMs);
    }

    private ProbeSet FindProbes(Fault fault) => _probes[Plan.FindTank(fault.Device!)!.Index];

    private PumpControl FindControl(Fault fault) => _controls[Plan.FindPump(fault.Device!)!.Index];
}
