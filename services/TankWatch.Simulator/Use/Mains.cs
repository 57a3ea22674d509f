using TankWatch.Simulator.Faults;

namespace TankWatch.Simulator.Use;

/// <summary>The electricity supply: 230 V that wander by a few volts, sag, soar or are off.</summary>
internal sealed class Mains(SimulationOptions options, string site, FaultSchedule faults)
{
    public const double NominalVolts = 230;

    private const double MemoryOfAMinute = 0.97; // It wanders back within about half an hour.
    private const double MostSpreads = 3;

    // A motor loses a quarter of the relative voltage in speed: slip grows as torque falls with the square of the voltage.
    private const double SpeedPerVoltage = 0.25;

    private readonly SeededStream _random = new(options.Seed, $"{site}/mains");
    private readonly double _memory = Math.Pow(MemoryOfAMinute, options.Tick.TotalMinutes);
    private double _wander;

    public bool On => !faults.Has(FaultKind.PowerCut);

    public double Volts { get; private set; } = NominalVolts;

    public double MotorSpeed => 1 + (SpeedPerVoltage * (Math.Min(Volts, 1.04 * NominalVolts) - NominalVolts) / NominalVolts);

    public void Wander()
    {
        var shock = options.VoltageSpread * Math.Sqrt(1 - (_memory * _memory));
        var most = MostSpreads * options.VoltageSpread;
        _wander = Math.Clamp((_memory * _wander) + (shock * _random.Normal()), -most, most);
        Update();
    }

    public void Update()
    {
        var middle = (faults.Find(FaultKind.LowVoltage) ?? faults.Find(FaultKind.HighVoltage))?.EffectiveSize;
        Volts = On ? middle is { } volts ? volts + (0.3 * _wander) : NominalVolts + _wander : 0;
    }
}
