using System.Globalization;
using Microsoft.Data.Sqlite;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Sites;

/// <summary>
/// Notices that the wall clock was set, by a clock that only ever counts: what is to happen after some time must neither wait a day longer
/// nor happen a day too soon. Over a restart too, as long as the machine was not started anew meanwhile.
/// </summary>
/// <param name="database">Keeps the two clocks' readings over a restart.</param>
/// <param name="time">Both clocks.</param>
/// <param name="boot">Names this start of the machine; null where nothing does.</param>
public sealed class ClockWatch(Database database, TimeProvider time, string? boot)
{
    /// <summary>A clock that is a little slow or fast is set by less than this at a time.</summary>
    public static readonly TimeSpan Slack = TimeSpan.FromSeconds(2);

    private const string BootFile = "/proc/sys/kernel/random/boot_id";

    private Readings? trusted;

    /// <summary>Where the system gives the start of the machine a name.</summary>
    public static string? BootName()
    {
        try
        {
            return File.ReadAllText(BootFile).Trim();
        }
        catch (Exception fault) when (fault is IOException or UnauthorizedAccessException)
        {
            return null;
        }
    }

    /// <summary>By how much the wall clock was set since it was last believed; zero nearly always.</summary>
    /// <param name="now">The wall clock now, UTC.</param>
    public TimeSpan Moved(DateTimeOffset now)
    {
        trusted ??= database.Read(Load);
        if (trusted is not { } then || then.Boot != boot || boot is null)
        {
            return TimeSpan.Zero;
        }

        var moved = now - then.Wall - (Elapsed - then.Elapsed);
        return moved.Duration() > Slack ? moved : TimeSpan.Zero;
    }

    /// <summary>Nothing is known of the clock since the machine was started: it is to be believed, and <see cref="Save"/> remembers that.</summary>
    public bool IsNew => trusted is not { } then || then.Boot != boot;

    /// <summary>Believes the wall clock from now on; in the transaction that moves what waits.</summary>
    internal void Save(SqliteConnection connection, DateTimeOffset now)
    {
        trusted = new(now, Elapsed, boot);
        connection.Execute(
            "INSERT INTO meta (name, value) VALUES ('clock', ?1) ON CONFLICT (name) DO UPDATE SET value = ?1",
            string.Create(CultureInfo.InvariantCulture, $"{now.UtcTicks} {Elapsed.Ticks} {boot}"));
    }

    /// <summary>What was believed last may not have been stored.</summary>
    public void Forget() => trusted = null;

    private TimeSpan Elapsed => time.GetElapsedTime(0);

    private static Readings? Load(SqliteConnection connection) =>
        (connection.Scalar("SELECT value FROM meta WHERE name = 'clock'") as string)?.Split(' ') is [var wall, var elapsed, var boot]
            ? new(new(long.Parse(wall, CultureInfo.InvariantCulture), TimeSpan.Zero), new(long.Parse(elapsed, CultureInfo.InvariantCulture)), boot) : null;

    private sealed record Readings(DateTimeOffset Wall, TimeSpan Elapsed, string? Boot);
}
