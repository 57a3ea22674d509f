using TankWatch.Core.Sites;
using TankWatch.Simulator.Faults;
using TankWatch.Simulator.Water;

namespace TankWatch.Simulator.Control;

/// <summary>
/// The probes of one tank: where they really sit, the film and the ripples that set apart wetting from drying, and the
/// faults of their leads. What it reads is what the pump's control and the field unit both see.
/// </summary>
internal sealed class ProbeSet
{
    private const double TankDepthMillimetres = 1200;
    private const double MostErrorMillimetres = 25;
    private const double FilmMillimetres = 1; // Either side of the probe: 2 mm between wetting and drying.
    private const double RippleMillimetres = 0.4;

    // One probe that both starts and stops a pump is in practice a tethered float switch, with a swing of a tenth of the tank.
    private const double FloatSwingShare = 0.05;

    private readonly FaultSchedule _faults;
    private readonly Agenda _agenda;
    private readonly SeededStream _random;
    private readonly double _rippleShare;
    private readonly Electrode[] _electrodes;
    private bool _shaking;

    public ProbeSet(TankWater water, SimulationOptions options, string site, FaultSchedule faults, Agenda agenda)
    {
        Water = water;
        _faults = faults;
        _agenda = agenda;
        _rippleShare = options.RippleShare;
        _random = new SeededStream(options.Seed, $"{site}/probes/{Plan.Id}");
        _electrodes = [.. Plan.Probes.Select((_, i) => Place(i, options))];
        Readings = new bool[_electrodes.Length];
        foreach (var electrode in _electrodes)
        {
            electrode.Wet = water.Litres > electrode.At;
            MoveMark(electrode);
        }

        Read();
    }

    public TankWater Water { get; }
    public Tank Plan => Water.Plan;

    /// <summary>Wet or dry as read, lowest first.</summary>
    public bool[] Readings { get; }

    public bool LowestDry => Readings is [false, ..];
    public bool HighestWet => Readings is [.., true];

    /// <summary>Looks at the surface and reads every probe.</summary>
    /// <returns>Whether any reading has changed.</returns>
    public bool Sense(long nowMs)
    {
        for (var i = 0; i < _electrodes.Length; i++)
        {
            var electrode = _electrodes[i];
            if (electrode.Wet ? Water.Litres <= electrode.Mark : Water.Litres >= electrode.Mark)
            {
                electrode.Wet = !electrode.Wet;
                MoveMark(electrode);
                MayFlicker(i, nowMs);
            }
        }

        return Read();
    }

    /// <summary>Seconds until the surface meets a mark; infinite if it meets none.</summary>
    public double SecondsToMark()
    {
        var nearest = double.PositiveInfinity;
        foreach (var electrode in _electrodes)
        {
            nearest = Math.Min(nearest, electrode.Wet == Water.Net < 0 ? Water.SecondsTo(electrode.Mark) : double.PositiveInfinity);
        }

        return nearest;
    }

    /// <summary>Starts turning over the reading of a probe with a loose lead, for as long as the fault lasts.</summary>
    public void Shake(long nowMs)
    {
        if (!_shaking)
        {
            _shaking = true;
            Turn(nowMs);
        }
    }

    private void Turn(long nowMs)
    {
        var fault = _faults.Find(FaultKind.ChatteringProbe, Plan.Id.Value);
        _shaking = fault is not null;
        foreach (var electrode in _electrodes)
        {
            electrode.Shaken &= _shaking;
        }

        if (fault is not null && _electrodes.Length > 0)
        {
            var loose = _electrodes[Math.Clamp(fault.Probe ?? 0, 0, _electrodes.Length - 1)];
            loose.Shaken = !loose.Shaken;
            var nextMs = nowMs + Math.Max(50, (long)(1000 * fault.EffectiveSize * _random.Between(0.7, 1.3)));
            _agenda.At(nextMs, () => Turn(nextMs));
        }
    }

    private bool Read()
    {
        var changed = false;
        for (var i = 0; i < _electrodes.Length; i++)
        {
            var reading = ReadOne(i);
            changed |= reading != Readings[i];
            Readings[i] = reading;
        }

        return changed;
    }

    private bool ReadOne(int index)
    {
        var tank = Plan.Id.Value;
        if (_faults.Has(FaultKind.LostCommon, tank))
        {
            return false;
        }

        if (_faults.Find(FaultKind.ProbeStuckDry, tank) is { } dry && StuckProbe(dry) == index)
        {
            return false;
        }

        if (_faults.Find(FaultKind.ProbeStuckWet, tank) is { } wet && StuckProbe(wet) == index)
        {
            return true;
        }

        var lead = _faults.Find(FaultKind.ImpossibleOrder, tank) is { } swap ? Swapped(index, swap.Probe ?? 0) : index;
        return _electrodes[lead].Reads;
    }

    private int StuckProbe(Fault fault) => fault.Probe ?? _electrodes.Length / 2;

    private int Swapped(int index, int lower) =>
        lower + 1 >= _electrodes.Length ? index
        : index == lower ? lower + 1
        : index == lower + 1 ? lower
        : index;

    /// <summary>The unit has damped the ripples already; what is left is now and then one change too many.</summary>
    private void MayFlicker(int index, long nowMs)
    {
        var electrode = _electrodes[index];
        var calm = Math.Abs(Water.Net) * 15 < Math.Min(Gap(index, -1), Gap(index, +1)); // No second probe may change meanwhile.
        if (_random.Chance(_rippleShare) && calm && Plan.Probes.Length > 1)
        {
            var backMs = nowMs + (long)_random.Between(800, 2500);
            _agenda.At(backMs, () => electrode.Flickers = true);
            _agenda.At(backMs + (long)_random.Between(500, 2000), () => electrode.Flickers = false);
        }
    }

    private Electrode Place(int index, SimulationOptions options)
    {
        var litresPerMillimetre = Plan.Capacity.Value / TankDepthMillimetres;
        var room = Math.Min(Gap(index, -1), Gap(index, +1));
        var most = Math.Min(MostErrorMillimetres * litresPerMillimetre, room / 4);
        var error = Math.Clamp(options.ProbeErrorMillimetres * litresPerMillimetre * _random.Normal(), -most, most);
        if (options.ProbeOffsetMillimetres.TryGetValue($"{Plan.Id}/{Plan.Probes[index].Name}", out var offset))
        {
            error = Math.Clamp(offset * litresPerMillimetre, -0.8 * room, 0.8 * room);
        }

        var swing = Plan.Probes.Length == 1 && Plan.Role is TankRole.Overhead
            ? Math.Min(FloatSwingShare * Plan.Capacity.Value, room * 0.4)
            : Math.Min(FilmMillimetres * litresPerMillimetre, room / 8);
        return new Electrode(Plan.Probes[index].Volume.Value + error, swing, Math.Min(RippleMillimetres * litresPerMillimetre, swing * 0.3));
    }

    /// <summary>Litres to the next probe that way, or to the bottom or the brim.</summary>
    private double Gap(int index, int step)
    {
        var next = index + step;
        var bound = next < 0 ? 0 : next >= Plan.Probes.Length ? Plan.Capacity.Value : Plan.Probes[next].Volume.Value;
        return Math.Abs(bound - Plan.Probes[index].Volume.Value);
    }

    private void MoveMark(Electrode electrode)
    {
        var ripple = electrode.Ripple * Math.Clamp(_random.Normal(), -2, 2);
        var mark = electrode.At + (electrode.Wet ? -electrode.Swing : electrode.Swing) + ripple;
        electrode.Mark = Math.Clamp(mark, 0, Plan.Capacity.Value); // A probe at the very brim still gets wet.
    }

    private sealed class Electrode(double at, double swing, double ripple)
    {
        /// <summary>Litres in the tank when the surface really touches it.</summary>
        public double At => at;

        public double Swing => swing;
        public double Ripple => ripple;

        /// <summary>Litres at which it changes next.</summary>
        public double Mark { get; set; }

        public bool Wet { get; set; }
        public bool Flickers { get; set; }
        public bool Shaken { get; set; }
        public bool Reads => Wet ^ Flickers ^ Shaken;
    }
}
