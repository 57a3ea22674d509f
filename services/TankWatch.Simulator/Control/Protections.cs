using TankWatch.Simulator.Faults;
using TankWatch.Simulator.Use;
using TankWatch.Simulator.Water;

namespace TankWatch.Simulator.Control;

/// <summary>What holds a pump off for its own good: supply voltage, overload, a dry inlet. Manual bypasses all of it.</summary>
internal sealed class Protections(PumpWater water, Mains mains, SimulationOptions options, FaultSchedule faults, Agenda agenda)
{
    private const long VoltageDelayMs = 3_000;
    private const long VoltageSettleMs = 60_000;
    private const long OverloadRestMs = 15 * 60_000;
    private const double DryRunMarginSeconds = 15;
    private const long Never = long.MaxValue;

    private long _voltageOddSinceMs = Never;
    private long _voltageRightSinceMs = long.MinValue;
    private string? _voltageTrip;
    private long _overloadAtMs = Never;
    private long _overloadRestsUntilMs;
    private long _dryAtMs = Never;
    private long _dryRestsUntilMs;

    public bool MainsOff => !mains.On;

    public bool RestsAfterDryRun(long nowMs) => nowMs < _dryRestsUntilMs;

    public string? FindMotorTrip(long nowMs) => nowMs < _overloadRestsUntilMs ? PumpCause.Overload : _voltageTrip;

    public void Started(long nowMs)
    {
        if (water.Plan.DryRunDetector)
        {
            // An empty riser must fill first: riser volume over delivery is the least a dry-run wait may be.
            WaitForWater(nowMs, (water.RiserCapacity / water.NominalLitresPerSecond) + DryRunMarginSeconds);
        }

        if (faults.Find(FaultKind.Overload, water.Plan.Id.Value) is { } fault)
        {
            _overloadAtMs = nowMs + (long)(1000 * fault.EffectiveSize);
            agenda.Wake(_overloadAtMs);
        }
    }

    public void Watch(long nowMs)
    {
        WatchVoltage(nowMs);
        if (!water.Running)
        {
            _overloadAtMs = Never;
            _dryAtMs = Never;
            return;
        }

        WatchInlet(nowMs);
        if (nowMs >= _overloadAtMs)
        {
            _overloadAtMs = Never;
            _overloadRestsUntilMs = nowMs + OverloadRestMs;
            agenda.Wake(_overloadRestsUntilMs);
        }
    }

    private void WatchInlet(long nowMs)
    {
        if (!water.Plan.DryRunDetector)
        {
            return;
        }

        if (water.InletFlowing)
        {
            _dryAtMs = Never;
        }
        else if (_dryAtMs == Never)
        {
            WaitForWater(nowMs, DryRunMarginSeconds);
        }
        else if (nowMs >= _dryAtMs)
        {
            _dryAtMs = Never;
            _dryRestsUntilMs = nowMs + (long)options.DryRunRetry.TotalMilliseconds;
            agenda.Wake(_dryRestsUntilMs);
        }
    }

    private void WaitForWater(long nowMs, double seconds)
    {
        _dryAtMs = nowMs + (long)(1000 * seconds);
        agenda.Wake(_dryAtMs);
    }

    private void WatchVoltage(long nowMs)
    {
        var odd = mains.Volts < options.UnderVoltage ? PumpCause.UnderVoltage : mains.Volts > options.OverVoltage ? PumpCause.OverVoltage : null;
        if (odd is null || !mains.On)
        {
            WatchRightVoltage(nowMs);
            return;
        }

        _voltageRightSinceMs = Never;
        if (_voltageOddSinceMs == Never)
        {
            _voltageOddSinceMs = nowMs;
            agenda.Wake(nowMs + VoltageDelayMs);
        }

        _voltageTrip = nowMs - _voltageOddSinceMs >= VoltageDelayMs ? odd : _voltageTrip;
    }

    private void WatchRightVoltage(long nowMs)
    {
        _voltageOddSinceMs = Never;
        if (_voltageRightSinceMs == Never)
        {
            _voltageRightSinceMs = nowMs;
            agenda.Wake(nowMs + VoltageSettleMs);
        }

        _voltageTrip = nowMs >= _voltageRightSinceMs + VoltageSettleMs ? null : _voltageTrip;
    }
}
