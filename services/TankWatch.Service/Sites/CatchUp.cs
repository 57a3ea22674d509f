namespace TankWatch.Service.Sites;

/// <summary>
/// Whether a site's messages are as new as the clock. While a backlog comes in, nothing is told to people: what it reveals may be
/// over before its end.
/// </summary>
internal sealed class CatchUp(DateTimeOffset startedAt)
{
    /// <summary>A message older than this on arrival is part of a backlog.</summary>
    public static readonly TimeSpan LateAfter = TimeSpan.FromMinutes(2);

    /// <summary>So long without a late message, and the backlog is over.</summary>
    public static readonly TimeSpan Quiet = TimeSpan.FromSeconds(10);

    /// <summary>The longest that people wait: a unit with a slow clock is late for ever.</summary>
    public static readonly TimeSpan Longest = TimeSpan.FromMinutes(30);

    private DateTimeOffset since = startedAt;

    // Until the first broker delivers, a backlog may still be to come.
    private DateTimeOffset lastLate = DateTimeOffset.MaxValue;

    public bool IsOver(DateTimeOffset now) => now - lastLate >= Quiet || now - since >= Longest;

    /// <summary>A broker has begun to deliver: what it kept for us comes now.</summary>
    public void Listening(DateTimeOffset now) => Late(now);

    /// <param name="at">When it happened.</param>
    /// <param name="now">When it is taken in.</param>
    public void Heard(DateTimeOffset at, DateTimeOffset now)
    {
        if (now - at > LateAfter)
        {
            Late(now);
        }
    }

    /// <summary>The wall clock was set.</summary>
    public void ClockMoved(TimeSpan by) => (since, lastLate) = (since + by, lastLate == DateTimeOffset.MaxValue ? lastLate : lastLate + by);

    private void Late(DateTimeOffset now)
    {
        if (lastLate != DateTimeOffset.MaxValue && now - lastLate >= Quiet)
        {
            since = now;
        }

        lastLate = now;
    }
}
