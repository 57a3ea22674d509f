using System.Diagnostics;

namespace TankWatch.Browser.Tests.Figures;

/// <summary>What was measured again and again, in milliseconds.</summary>
internal sealed class Spread(IEnumerable<double> values)
{
    private readonly double[] sorted = [.. values.Order()];

    public double Median => At(.5);

    public double P99 => At(.99);

    public double Worst => sorted[^1];

    public int Count => sorted.Length;

    /// <summary>Answers of a local service over one connection, one after the other, read to their end.</summary>
    /// <param name="url">Of the service.</param>
    /// <param name="paths">Asked in turn, a tenth of the time unmeasured first.</param>
    /// <param name="count">How many are measured.</param>
    /// <returns>Their times, and the path and bytes before compression of the largest.</returns>
    public static async Task<(Spread Times, string Largest, long Bytes)> OfAnswersAsync(string url, IReadOnlyList<string> paths, int count)
    {
        using var client = new HttpClient(new SocketsHttpHandler { MaxConnectionsPerServer = 1 }) { BaseAddress = new Uri(url) };
        var (times, largest, most) = (new List<double>(), "", 0L);
        for (var number = -count / 10; number < count; number++)
        {
            var began = Stopwatch.GetTimestamp();
            var path = paths[(number + count) % paths.Count];
            var answer = await client.GetByteArrayAsync(path);
            if (number >= 0)
            {
                times.Add(Stopwatch.GetElapsedTime(began).TotalMilliseconds);
            }

            if (answer.Length > most)
            {
                (largest, most) = (path, answer.Length);
            }
        }

        return (new(times), largest, most);
    }

    /// <summary>The smallest value that so great a share does not exceed.</summary>
    private double At(double share) => sorted[Math.Max(0, (int)Math.Ceiling(share * sorted.Length) - 1)];
}
