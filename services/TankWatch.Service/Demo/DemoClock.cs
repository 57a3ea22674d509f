using System.Globalization;

namespace TankWatch.Service.Demo;

/// <summary>What a demonstration's clock shows.</summary>
/// <param name="Now">Simulated, UTC.</param>
/// <param name="Speed">Simulated seconds in one of the wall's.</param>
/// <param name="Begun">The month of history is loaded, and the script runs.</param>
public readonly record struct ClockReading(DateTimeOffset Now, double Speed, bool Begun);

/// <summary>
/// The time of a demonstration: it starts at the present and runs some times as fast as the wall clock. Delays and periods are in
/// simulated time too. Measuring is not: a commit takes as long as it takes.
/// </summary>
/// <remarks>
/// Until <see cref="Begin"/> it all but stands, so that the month of history ends just where the script begins, however long it takes
/// to load. It creeps rather than stands because alerts are told apart by when they were created. From then on it shows no later time
/// than the feed allows: at hundreds of times the pace, messages would else be minutes late for every hiccup of the machine, and alerts
/// would be raised and withdrawn for nothing. Waits go on meanwhile, for what the feed waits for may be one of them.
/// </remarks>
public sealed class DemoClock : TimeProvider
{
    public const double Slowest = 1;
    public const double Fastest = 600;

    /// <summary>No wait is shorter than this on the wall: a fast clock must not make a loop spin.</summary>
    public static readonly TimeSpan LeastWait = TimeSpan.FromMilliseconds(20);

    /// <summary>A longer wait is taken in parts; the wall's timers end at 49 days.</summary>
    private static readonly TimeSpan MostWait = TimeSpan.FromDays(1);

    /// <summary>A clock that is held back catches up with so much; what is more is left out.</summary>
    private static readonly TimeSpan MostBehind = TimeSpan.FromMinutes(10);

    private const double Creeping = 0.01;

    private readonly TimeProvider wall;
    private readonly Lock changing = new();
    private readonly HashSet<DemoTimer> waiting = [];
    private DateTimeOffset bound = DateTimeOffset.MaxValue;
    private DateTimeOffset markedNow;
    private long markedAt;
    private double pace = Creeping;
    private double speed;
    private bool begun;

    /// <param name="wall">Real time, or a test's.</param>
    /// <param name="speed">From <see cref="Slowest"/> to <see cref="Fastest"/>, once it has begun.</param>
    public DemoClock(TimeProvider wall, double speed)
    {
        Check(speed);
        (this.wall, this.speed) = (wall, speed);
        (markedNow, markedAt) = (wall.GetUtcNow(), wall.GetTimestamp());
    }

    public override TimeZoneInfo LocalTimeZone => wall.LocalTimeZone;
    public override long TimestampFrequency => wall.TimestampFrequency;

    public override long GetTimestamp() => wall.GetTimestamp();

    public override DateTimeOffset GetUtcNow()
    {
        lock (changing)
        {
            return Now();
        }
    }

    public ClockReading Read()
    {
        lock (changing)
        {
            return new(Now(), speed, begun);
        }
    }

    /// <summary>The script begins: from now on the clock runs at its speed.</summary>
    /// <param name="ahead">So far at first; null for as far as it likes.</param>
    public void Begin(TimeSpan? ahead = null)
    {
        lock (changing)
        {
            begun = true;
            bound = Now() + ahead ?? DateTimeOffset.MaxValue;
            Mark(Now(), speed);
        }
    }

    /// <summary>Lets the clock go on to <paramref name="until"/> and holds it there.</summary>
    /// <returns>Whether it has to be held there now: it is behind.</returns>
    public bool Allow(DateTimeOffset until)
    {
        lock (changing)
        {
            bound = until > bound ? until : bound;
            if (Free() - bound > MostBehind)
            {
                Mark(bound, pace);
            }

            return Free() > bound;
        }
    }

    /// <summary>Goes on from the present moment at another speed; what waits, waits as much shorter or longer.</summary>
    /// <exception cref="ArgumentOutOfRangeException">Not from <see cref="Slowest"/> to <see cref="Fastest"/>.</exception>
    public void SetSpeed(double faster)
    {
        Check(faster);
        lock (changing)
        {
            speed = faster;
            if (begun)
            {
                Mark(Now(), speed);
            }
        }
    }

    /// <summary>Reads a speed as people write it: digits, and a point before decimals.</summary>
    public static bool TryReadSpeed(string? text, out double speed) =>
        double.TryParse(text, NumberStyles.AllowDecimalPoint, CultureInfo.InvariantCulture, out speed) && speed is >= Slowest and <= Fastest;

    public override ITimer CreateTimer(TimerCallback callback, object? state, TimeSpan dueTime, TimeSpan period)
    {
        ArgumentNullException.ThrowIfNull(callback);
        var timer = new DemoTimer(this, callback, state);
        timer.Change(dueTime, period);
        return timer;
    }

    private static void Check(double speed)
    {
        if (speed is not (>= Slowest and <= Fastest))
        {
            throw new ArgumentOutOfRangeException(nameof(speed), speed, $"from {Slowest} to {Fastest}");
        }
    }

    private DateTimeOffset Now() => Free() is var free && free < bound ? free : bound;

    /// <summary>The time if nothing held it.</summary>
    private DateTimeOffset Free() => markedNow + (wall.GetElapsedTime(markedAt) * pace);

    private void Mark(DateTimeOffset now, double next)
    {
        var leftOut = Free() - now;
        (markedNow, markedAt, pace) = (now, wall.GetTimestamp(), next);
        foreach (var timer in waiting)
        {
            timer.Move(-leftOut);
        }
    }

    /// <summary>A wait in simulated time, on one timer of the wall that is set anew with every change of pace.</summary>
    private sealed class DemoTimer : ITimer
    {
        private readonly DemoClock clock;
        private readonly TimerCallback callback;
        private readonly object? state;
        private readonly ITimer inner;
        private DateTimeOffset dueAt;
        private TimeSpan period;
        private bool disposed;

        public DemoTimer(DemoClock clock, TimerCallback callback, object? state)
        {
            (this.clock, this.callback, this.state) = (clock, callback, state);
            inner = clock.wall.CreateTimer(static timer => ((DemoTimer)timer!).Ring(), this, Timeout.InfiniteTimeSpan, Timeout.InfiniteTimeSpan);
        }

        public bool Change(TimeSpan dueTime, TimeSpan period)
        {
            CheckWait(dueTime, nameof(dueTime));
            CheckWait(period, nameof(period));
            lock (clock.changing)
            {
                if (disposed)
                {
                    return false;
                }

                this.period = period;
                if (dueTime == Timeout.InfiniteTimeSpan)
                {
                    clock.waiting.Remove(this);
                    return inner.Change(dueTime, dueTime);
                }

                dueAt = clock.Free() + dueTime;
                clock.waiting.Add(this);
                Arm();
                return true;
            }
        }

        /// <summary>Only while it waits, and under the clock's lock.</summary>
        public void Move(TimeSpan by)
        {
            dueAt += by;
            Arm();
        }

        private void Arm()
        {
            // Rounded up to the wall's milliseconds, or it would ring early and wait anew.
            var wait = TimeSpan.FromMilliseconds(Math.Ceiling((dueAt - clock.Free()).TotalMilliseconds / clock.pace));
            inner.Change(wait < LeastWait ? LeastWait : wait > MostWait ? MostWait : wait, Timeout.InfiniteTimeSpan);
        }

        public void Dispose()
        {
            lock (clock.changing)
            {
                disposed = true;
                clock.waiting.Remove(this);
            }

            inner.Dispose();
        }

        public ValueTask DisposeAsync()
        {
            Dispose();
            return inner.DisposeAsync();
        }

        private static void CheckWait(TimeSpan wait, string name)
        {
            if (wait < TimeSpan.Zero && wait != Timeout.InfiniteTimeSpan)
            {
                throw new ArgumentOutOfRangeException(name, wait, "neither 0 or more nor infinite");
            }
        }

        private void Ring()
        {
            lock (clock.changing)
            {
                var now = clock.Free();
                if (!clock.waiting.Contains(this))
                {
                    return;
                }

                if (now < dueAt)
                {
                    Arm(); // The clock was slowed down while this ring was on its way, or only a part of the wait is over.
                    return;
                }

                if (period > TimeSpan.Zero)
                {
                    // In step while it can be; a period that is too short at this speed leaves rings out rather than gathering them.
                    dueAt = dueAt + period > now ? dueAt + period : now + period;
                    Arm();
                }
                else
                {
                    clock.waiting.Remove(this);
                }
            }

            callback(state); // Not under the lock: it may take locks of its own.
        }
    }
}
