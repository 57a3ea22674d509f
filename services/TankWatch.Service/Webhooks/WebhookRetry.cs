using System.IO.Hashing;
using System.Text;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Webhooks;

/// <summary>When a target is tried again, and when no more. Times are those of the wall.</summary>
internal static class WebhookRetry
{
    /// <summary>After so many failures in a row the circuit is open: the target is left in peace, and then one try shows whether it is well.</summary>
    public const int OpenAfter = 5;

    /// <summary>An event that the target has refused so often is set aside.</summary>
    public const int TriesOfAnEvent = 5;

    /// <summary>A target that has taken nothing for so long is disabled.</summary>
    public static readonly TimeSpan GiveUpAfter = TimeSpan.FromDays(5);
    private static readonly TimeSpan FirstWait = TimeSpan.FromSeconds(5);
    private static readonly TimeSpan FirstRest = TimeSpan.FromMinutes(2);
    private static readonly TimeSpan LongestRest = TimeSpan.FromMinutes(15);
    private static readonly TimeSpan LongestAsked = TimeSpan.FromHours(1);

    /// <summary>closed, open or half-open.</summary>
    public static string Circuit(WebhookFailing failing, DateTimeOffset now) =>
        failing.Failures < OpenAfter ? "closed" : failing.NextAttemptAt > now ? "open" : "half-open";

    /// <summary>How long to wait after so many failures in a row: 5 s, doubling; from the fifth on 2 minutes, doubling, at most 15.</summary>
    /// <param name="failures">At least 1.</param>
    /// <param name="message">The event's <c>webhook-id</c>.</param>
    /// <param name="asked">What the target asked for in <c>Retry-After</c>; an hour is granted.</param>
    /// <returns>A quarter more or less, by the event and the try: what failed together does not come back together.</returns>
    public static TimeSpan WaitAfter(int failures, string message, TimeSpan? asked)
    {
        var open = failures >= OpenAfter;
        var wait = (open ? FirstRest : FirstWait) * (1 << Math.Min(10, open ? failures - OpenAfter : failures - 1));
        wait = (wait < LongestRest ? wait : LongestRest) * (0.75 + (0.5 * Share($"{message} {failures}")));
        var granted = asked < LongestAsked ? asked : asked is null ? null : LongestAsked;
        return granted > wait ? granted.Value : wait;
    }

    /// <returns>0 to 1, as if by chance.</returns>
    private static double Share(string text) => XxHash32.HashToUInt32(Encoding.UTF8.GetBytes(text)) / (double)uint.MaxValue;
}
