using System.Globalization;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using Xunit;

namespace TankWatch.Core.Tests;

/// <summary>
/// A day of a site in a few lines: what its units say and when. As real units do, they repeat themselves every half hour in between,
/// until told to be silent. Days start on Monday 2 March 2026, 00:00 UTC; <c>1d 06:00</c> is the morning after.
/// </summary>
internal sealed class Scenario(SitePlan plan)
{
    public static readonly DateTimeOffset Midnight = new(2026, 3, 2, 0, 0, 0, TimeSpan.Zero);
    private static readonly TimeSpan Word = TimeSpan.FromMinutes(30);

    private readonly List<Observation> seen = [];
    private readonly Dictionary<UnitId, long> counts = [];
    private readonly Dictionary<int, int> levels = [];
    private DateTimeOffset now = Midnight;
    private bool silent;

    public static Scenario Of(SitePlan plan) => new(plan);

    public IReadOnlyList<Observation> Observations => seen;

    public static DateTimeOffset TimeOf(string clock)
    {
        var parts = clock.Split("d ");
        var days = parts.Length == 2 ? int.Parse(parts[0], CultureInfo.InvariantCulture) : 0;
        return Midnight.AddDays(days) + TimeSpan.Parse(parts[^1], CultureInfo.InvariantCulture);
    }

    public static string Clock(DateTimeOffset at)
    {
        var days = (int)Math.Floor((at - Midnight).TotalDays);
        var time = (at - Midnight - TimeSpan.FromDays(days)).ToString(@"hh\:mm\:ss\.fff", CultureInfo.InvariantCulture);
        return (days == 0 ? "" : $"{days}d ") + (time.EndsWith(":00.000", StringComparison.Ordinal) ? time[..5] : time.EndsWith(".000", StringComparison.Ordinal) ? time[..8] : time);
    }

    public Scenario At(string clock) => MoveTo(TimeOf(clock));

    public Scenario After(double minutes = 0, double seconds = 0) => MoveTo(now.AddMinutes(minutes).AddSeconds(seconds));

    /// <param name="tank">Its id.</param>
    /// <param name="wet">One digit per probe, lowest first: 1 for wet.</param>
    public Scenario Tank(string tank, string wet)
    {
        var index = plan.FindTank(tank)!.Index;
        Assert.Equal(plan.Tanks[index].Probes.Length, wet.Length);
        levels[index] = wet.Select((c, i) => c == '1' ? 1 << i : 0).Sum();
        return Add(stamp => new LevelObservation(stamp, index, levels[index]), UnitOf(index, null));
    }

    public Scenario Start(string pump = "p1", string cause = "level", string? mode = "auto", double? watts = null) => Pump(pump, true, cause, mode, watts);

    public Scenario Stop(string pump = "p1", string cause = "level", string? mode = "auto") => Pump(pump, false, cause, mode, null);

    public Scenario Mains(bool on) => Add(stamp => new SupplyObservation(stamp, on, null), plan.Units[0]);

    public Scenario Will() => Add(stamp => new StatusObservation(stamp, false, null, null, null), plan.Units[0]);

    /// <summary>Repeats steps.</summary>
    public Scenario Times(int count, Action<Scenario> steps)
    {
        for (var i = 0; i < count; i++)
        {
            steps(this);
        }

        return this;
    }

    /// <summary>A message that was sent and never came: the count goes on.</summary>
    public Scenario Lost()
    {
        counts[plan.Units[0].Id] = counts.GetValueOrDefault(plan.Units[0].Id) + 1;
        return this;
    }

    /// <summary>From here on, the units say only what is written.</summary>
    public Scenario Silent()
    {
        silent = true;
        return this;
    }

    /// <summary>Judged observation by observation.</summary>
    public Outcome Until(string clock)
    {
        MoveTo(TimeOf(clock));
        return Outcome.Of(plan, seen, now);
    }

    /// <summary>The same by a follower that is given every second observation first, and the rest late.</summary>
    public Outcome FollowedUntil(string clock)
    {
        MoveTo(TimeOf(clock));
        var followed = new FollowedSite(plan);
        followed.Take([.. seen.Where((_, i) => i % 2 == 0)]);
        followed.Tick(now);
        followed.Take([.. seen.Where((_, i) => i % 2 == 1)]);
        return followed.Outcome();
    }

    private Scenario Pump(string pump, bool running, string cause, string? mode, double? watts)
    {
        var index = plan.FindPump(pump)!.Index;
        bool? manual = mode is null ? null : mode == "manual";
        return Add(stamp => new PumpObservation(stamp, index, running, PumpCauses.Parse(cause), manual, null, null, watts), UnitOf(null, index));
    }

    private FieldUnit UnitOf(int? tank, int? pump) =>
        plan.Units.First(u => (tank is { } t && u.Tanks.Contains(t)) || (pump is { } p && u.Pumps.Contains(p)));

    private Scenario MoveTo(DateTimeOffset to)
    {
        Assert.True(to >= now, $"time runs backwards: {Clock(to)} after {Clock(now)}");
        while (!silent && seen.Count > 0 && to - now > Word)
        {
            now += Word;
            foreach (var unit in plan.Units)
            {
                Add(stamp => new StatusObservation(stamp, true, null, null, null), unit);
            }

            foreach (var (tank, wet) in levels.ToList())
            {
                Add(stamp => new LevelObservation(stamp, tank, wet), UnitOf(tank, null));
            }
        }

        now = to;
        return this;
    }

    private Scenario Add(Func<Stamp, Observation> make, FieldUnit unit)
    {
        var seq = counts[unit.Id] = counts.GetValueOrDefault(unit.Id) + 1;
        seen.Add(make(new(unit.Id, now, now, now, 1, seq)));
        return this;
    }
}
