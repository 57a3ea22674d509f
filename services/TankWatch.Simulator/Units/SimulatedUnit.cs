using TankWatch.Core.Sites;
using TankWatch.Simulator.Faults;

namespace TankWatch.Simulator.Units;

/// <summary>A field unit: stamps what happens by its own clock, and gets it to the broker by a link that may be down.</summary>
internal sealed class SimulatedUnit
{
    private const long KeepAliveRunsOutMs = 90_000; // One and a half times a keep-alive of 60 s: then the broker speaks the Will.
    private const int BacklogLimit = 20_000; // At the bound the oldest is dropped, and shows as a gap in seq.
    private const int LongestArray = 200; // About 30 KB; the contract allows 256 KiB.
    private const double BacklogSpacingMs = 15;

    private readonly FieldUnit _plan;
    private readonly SimulationOptions _options;
    private readonly FaultSchedule _faults;
    private readonly Agenda _agenda;
    private readonly Outbox _outbox;
    private readonly SeededStream _random;
    private readonly Queue<Kept> _backlog = new();
    private long _boot = 1;
    private long _seq;
    private double _lastArrivalMs;
    private bool _powered = true;
    private bool _linked = true;

    public SimulatedUnit(FieldUnit plan, string site, SimulationOptions options, FaultSchedule faults, Agenda agenda, Outbox outbox)
    {
        _plan = plan;
        _options = options;
        _faults = faults;
        _agenda = agenda;
        _outbox = outbox;
        _random = new SeededStream(options.Seed, $"{site}/unit/{plan.Id}");
    }

    private sealed record Kept(string Kind, string Json, long AtMs);

    public FieldUnit Plan => _plan;

    /// <summary>Stamps and sends, or keeps for later, or loses when the unit or its link is dead.</summary>
    public void Send(string kind, long nowMs, Func<Stamp, string> write)
    {
        if (!_powered)
        {
            return;
        }

        var json = write(new Stamp(ReadClock(nowMs), _boot, _seq++));
        if (_linked)
        {
            Transmit(kind, json, nowMs, nowMs);
        }
        else if (!_faults.Has(FaultKind.SilentUnit, _plan.Id.Value))
        {
            Keep(new Kept(kind, json, nowMs));
        }
    }

    public void SayOnline(long nowMs) => Send("status", nowMs, stamp =>
        FieldPayload.Online(stamp, (int)_random.Between(-88, -62), _options.UnitsHaveBattery ? (int)_random.Between(82, 100) : null));

    /// <summary>Follows the faults of the link: lost, or back with what was kept.</summary>
    /// <returns>Whether the link is back and nothing was kept, so that the present state must be told anew.</returns>
    public bool FollowLink(long nowMs)
    {
        var linked = !_faults.Has(FaultKind.SilentUnit, _plan.Id.Value) && !_faults.Has(FaultKind.LinkLost, _plan.Id.Value);
        if (linked == _linked)
        {
            return false;
        }

        _linked = linked;
        if (!linked)
        {
            ExpectWill(nowMs);
            return false;
        }

        var nothingKept = _backlog.Count == 0;
        SayOnline(nowMs);
        SendBacklog(nowMs);
        return nothingKept && _powered;
    }

    public void LosePower(long nowMs)
    {
        _powered = false;
        _backlog.Clear();
        ExpectWill(nowMs);
    }

    /// <summary>Starts anew: a higher boot, and seq from 0.</summary>
    public void Restart(long nowMs)
    {
        _powered = true;
        _boot++;
        _seq = 0;
        SayOnline(nowMs);
    }

    private DateTimeOffset? ReadClock(long nowMs)
    {
        if (_faults.Has(FaultKind.NoClock, _plan.Id.Value))
        {
            return null;
        }

        var now = DateTimeOffset.FromUnixTimeMilliseconds(nowMs);
        var clock = now + _options.ClockOffset + ((now - _options.Start) * (_options.ClockDriftPerMillion / 1e6));
        return _faults.Find(FaultKind.ClockWrong, _plan.Id.Value) switch
        {
            null => clock,
            { Size: { } ahead } => clock + TimeSpan.FromSeconds(ahead),
            var since1970 => DateTimeOffset.UnixEpoch + (now - since1970.From),
        };
    }

    private void Keep(Kept message)
    {
        _backlog.Enqueue(message);
        if (_backlog.Count > BacklogLimit)
        {
            _backlog.Dequeue();
        }
    }

    private void SendBacklog(long nowMs)
    {
        if (!_options.BacklogAsArrays)
        {
            while (_backlog.TryDequeue(out var kept))
            {
                Transmit(kept.Kind, kept.Json, kept.AtMs, nowMs);
            }

            return;
        }

        foreach (var kind in _backlog.GroupBy(k => k.Kind, StringComparer.Ordinal))
        {
            foreach (var part in kind.Chunk(LongestArray))
            {
                Transmit(kind.Key, $"[{string.Join(',', part.Select(k => k.Json))}]", part[^1].AtMs, nowMs);
            }
        }

        _backlog.Clear();
    }

    private void Transmit(string kind, string json, long sentMs, long nowMs)
    {
        var arrives = Math.Max(nowMs + _random.Between(0.04, 1) * _options.ArrivalDelay.TotalMilliseconds, _lastArrivalMs);
        _lastArrivalMs = arrives + (sentMs < nowMs ? BacklogSpacingMs : 0);
        Hand(kind, json, sentMs, arrives);
        if (_random.Chance(_options.DuplicateShare))
        {
            Hand(kind, json, sentMs, arrives + _random.Between(0, 20_000));
        }
    }

    private void Hand(string kind, string json, long sentMs, double arrivesMs) => _outbox.Send(new SimulatedMessage(
        DateTimeOffset.FromUnixTimeMilliseconds(sentMs),
        DateTimeOffset.FromUnixTimeMilliseconds((long)Math.Ceiling(arrivesMs)),
        _plan.Id, kind, json, Retained: kind is "status"));

    private void ExpectWill(long nowMs)
    {
        var atMs = nowMs + KeepAliveRunsOutMs;
        var boot = _boot;
        _agenda.At(atMs, () =>
        {
            if ((!_linked || !_powered) && boot == _boot)
            {
                Hand("status", FieldPayload.Will(boot), atMs, atMs);
            }
        });
    }
}
