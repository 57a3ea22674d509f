using TankWatch.Core.Sites;
using TankWatch.Simulator.Faults;
using TankWatch.Simulator.Use;
using TankWatch.Simulator.Water;

namespace TankWatch.Simulator.Control;

/// <summary>
/// The control box of one pump. It starts when a tank it serves has its lowest probe dry, stops when every tank that called
/// has its highest wet, and holds off while its source, its inlet, the mains or its motor forbid.
/// </summary>
internal sealed class PumpControl
{
    private readonly PumpWater _water;
    private readonly ProbeSet? _sump;
    private readonly ProbeSet[] _tanks;
    private readonly FaultSchedule _faults;
    private readonly Agenda _agenda;
    private readonly Protections _protections;
    private readonly bool[] _calls;
    private bool _topUp;
    private bool _cutOut;
    private bool _byHand;

    public PumpControl(PumpWater water, ProbeSet[] probes, Mains mains, SimulationOptions options, FaultSchedule faults, Agenda agenda)
    {
        _water = water;
        _sump = Plan.From is { } from ? probes[from] : null;
        _tanks = [.. Plan.To.Select(t => probes[t])];
        _faults = faults;
        _agenda = agenda;
        _protections = new Protections(water, mains, options, faults, agenda);
        _calls = new bool[_tanks.Length];
    }

    public Pump Plan => _water.Plan;
    public bool Running => _water.Running;
    public bool Manual { get; private set; }

    /// <summary>Of the last start or stop.</summary>
    public string Cause { get; private set; } = PumpCause.Unknown;

    /// <summary>Decides anew from what the probes, the mains and the inlet say.</summary>
    /// <returns>Whether the pump has started or stopped.</returns>
    public bool Decide(long nowMs)
    {
        UpdateCalls();
        UpdateCutOut();
        _protections.Watch(nowMs);
        var reason = FindReasonToRest(nowMs);
        if (Running && reason is not null)
        {
            Stop(reason);
            return true;
        }

        if (!Running && reason is null && !_faults.Has(FaultKind.PumpWontStart, Plan.Id.Value))
        {
            Start(nowMs);
            return true;
        }

        return false;
    }

    /// <summary>Asks for the tanks to be filled to the top; those that are full do not ask.</summary>
    public void RequestTopUp()
    {
        for (var i = 0; i < _tanks.Length; i++)
        {
            if (!_calls[i] && (!_tanks[i].HighestWet || IgnoresTop))
            {
                _calls[i] = true;
                _topUp = true;
            }
        }
    }

    /// <summary>Puts the pump in manual and starts it by hand, now and every 8 hours, until the fault ends.</summary>
    public void LeaveInManual(Fault fault, long nowMs)
    {
        if (!_faults.Has(FaultKind.LeftInManual, Plan.Id.Value))
        {
            return;
        }

        Manual = true;
        _byHand = true;
        _agenda.At(nowMs + (long)(60_000 * fault.EffectiveSize), () => _byHand = false);
        var againMs = nowMs + 8 * 3_600_000L;
        _agenda.At(againMs, () => LeaveInManual(fault, againMs));
    }

    /// <summary>Back to automatic: what ran by hand is stopped by hand first.</summary>
    public void ReturnToAutomatic()
    {
        Manual = false;
        _byHand = false;
        if (Running)
        {
            Stop(PumpCause.Manual);
        }

        Cause = PumpCause.Manual;
    }

    private bool IgnoresTop => _faults.Has(FaultKind.NoStopAtTop, Plan.Id.Value);

    /// <summary>A call is latched from lowest dry until highest wet; when leads lie so that both hold, stopping wins.</summary>
    private void UpdateCalls()
    {
        for (var i = 0; i < _tanks.Length; i++)
        {
            _calls[i] = (_calls[i] || _tanks[i].LowestDry) && (!_tanks[i].HighestWet || (_calls[i] && IgnoresTop));
        }

        _topUp &= _calls.AsSpan().Contains(true);
    }

    /// <summary>The lowest probe of the sump cuts out; after that only the next one up, where there is one, lets start again.</summary>
    private void UpdateCutOut()
    {
        if (_sump is not { Readings: { Length: > 0 } wet })
        {
            return;
        }

        var restart = _faults.Has(FaultKind.EarlyRestart, Plan.Id.Value) ? 0 : Math.Min(1, wet.Length - 1);
        _cutOut = !_faults.Has(FaultKind.NoStopAtCutOut, Plan.Id.Value) && (!wet[0] || (_cutOut && !wet[restart]));
    }

    private string? FindReasonToRest(long nowMs)
    {
        if (_protections.MainsOff)
        {
            return PumpCause.Power;
        }

        if (Manual)
        {
            return _byHand ? null : PumpCause.Manual;
        }

        return _protections.FindMotorTrip(nowMs)
            ?? (_cutOut ? PumpCause.SumpLow : null)
            ?? (_protections.RestsAfterDryRun(nowMs) ? PumpCause.DryRun : null)
            ?? (_calls.AsSpan().Contains(true) ? null : PumpCause.Level);
    }

    private void Start(long nowMs)
    {
        _water.Running = true;
        _water.Starts++;
        Cause = Manual ? PumpCause.Manual : _topUp ? PumpCause.TopUp : PumpCause.Level;
        _protections.Started(nowMs);
    }

    private void Stop(string cause)
    {
        _water.Running = false;
        Cause = cause;
    }
}
