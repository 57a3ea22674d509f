using System.Diagnostics;
using System.Text;
using System.Text.Json;

namespace TankWatch.Service.Load;

/// <param name="Host">The broker.</param>
/// <param name="Port">Its port.</param>
/// <param name="Rate">Messages per second over all units; 0 is as fast as it goes.</param>
/// <param name="Units">Connections, one for each unit.</param>
/// <param name="Seconds">For how long messages are sent.</param>
/// <param name="Messages">Sent at most, at a rate of 0.</param>
/// <param name="User">Null for none.</param>
/// <param name="Password">The user's; null for none.</param>
/// <param name="Secrets">The passwords of units that connect under their own names, by unit, as the embedded broker demands; null for one user.</param>
internal sealed record LoadOptions(
    string Host, int Port, int Rate, int Units, int Seconds, int Messages, string? User, string? Password, IReadOnlyDictionary<string, string>? Secrets)
{
    public (string? User, byte[]? Password) CredentialsOf(LoadUnit unit)
    {
        var (user, password) = Secrets is null ? (User, Password) : (unit.Id, Secrets.GetValueOrDefault(unit.Id));
        return (user, user is null ? null : Encoding.UTF8.GetBytes(password ?? ""));
    }
}

/// <summary>What the links of a run count together.</summary>
internal sealed class LoadTotals
{
    private long sent;
    private long acknowledged;

    public LatencyHistogram Latencies { get; } = new();

    public long Sent => Interlocked.Read(ref sent);

    public long Acknowledged => Interlocked.Read(ref acknowledged);

    /// <summary>Refused, or never answered.</summary>
    public long Errors => Sent - Acknowledged;

    public void CountSent() => Interlocked.Increment(ref sent);

    public void CountAnswer(TimeSpan latency, bool accepted)
    {
        Latencies.Add(latency);
        if (accepted)
        {
            Interlocked.Increment(ref acknowledged);
        }
    }
}

/// <summary>Simulated units publish at a rate. The pace does not wait for answers, so that a slow broker cannot hide its slowness.</summary>
internal sealed class LoadRun(LoadOptions options, TimeProvider time)
{
    private const int ConnectingAtOnce = 32;
    private static readonly TimeSpan ConnectPatience = TimeSpan.FromSeconds(30);

    /// <summary>For the last answers, after the last message was sent.</summary>
    private static readonly TimeSpan AnswerPatience = TimeSpan.FromSeconds(10);

    private readonly LoadTotals totals = new();

    /// <returns>One JSON object, and whether every message sent was acknowledged.</returns>
    /// <exception cref="MQTTnet.Exceptions.MqttCommunicationException">The broker could not be reached, or refused a unit.</exception>
    public async Task<(string Json, bool Whole)> RunAsync(CancellationToken stop)
    {
        var boot = time.GetUtcNow().ToUnixTimeSeconds();
        var links = Enumerable.Range(1, options.Units).Select(number => new LoadLink(new(number, boot), totals, time)).ToList();
        try
        {
            using var patience = CancellationTokenSource.CreateLinkedTokenSource(stop);
            patience.CancelAfter(ConnectPatience);
            await Parallel.ForEachAsync(
                links, new ParallelOptions { MaxDegreeOfParallelism = ConnectingAtOnce, CancellationToken = patience.Token },
                async (link, cancel) => await link.ConnectAsync(options, cancel));
            var started = Stopwatch.GetTimestamp();
            await PublishAsync(links, started, stop);
            return (Report(Stopwatch.GetElapsedTime(started)), totals.Errors == 0);
        }
        finally
        {
            links.ForEach(link => link.Dispose());
        }
    }

    private async Task PublishAsync(List<LoadLink> links, long started, CancellationToken stop)
    {
        var length = TimeSpan.FromSeconds(options.Seconds);
        using var ended = CancellationTokenSource.CreateLinkedTokenSource(stop);
        ended.CancelAfter(length + AnswerPatience);
        var taken = 0L;
        Func<bool>? unpaced = options.Rate == 0
            ? () => Stopwatch.GetElapsedTime(started) < length && Interlocked.Increment(ref taken) <= options.Messages : null;
        var running = links.ConvertAll(link => Task.Run(() => link.RunAsync(unpaced, ended.Token), CancellationToken.None));
        if (unpaced is null)
        {
            await PaceAsync(links, started, ended.Token);
        }

        await Task.WhenAll(links.ConvertAll(link => link.Done));
        await ended.CancelAsync();
        await Task.WhenAll(running);
    }

    private async Task PaceAsync(List<LoadLink> links, long started, CancellationToken stop)
    {
        var total = (long)options.Rate * options.Seconds;
        using var timer = new PeriodicTimer(TimeSpan.FromMilliseconds(1));
        for (var next = 0L; next < total && await timer.WaitForNextTickAsync(stop);)
        {
            var now = Math.Min(total, (long)(Stopwatch.GetElapsedTime(started).TotalSeconds * options.Rate));
            for (; next < now; next++)
            {
                links[(int)(next % links.Count)].Due(started + (long)(next / (double)options.Rate * Stopwatch.Frequency));
            }
        }

        links.ForEach(link => link.Finish());
    }

    private string Report(TimeSpan elapsed) => JsonSerializer.Serialize(new
    {
        units = options.Units,
        seconds = Math.Round(elapsed.TotalSeconds, 3),
        sent = totals.Sent,
        acknowledged = totals.Acknowledged,
        errors = totals.Errors,
        ratePerSecond = Math.Round(totals.Acknowledged / elapsed.TotalSeconds, 1),
        processorSeconds = Math.Round(Environment.CpuUsage.TotalTime.TotalSeconds, 3),
        latencyMs = new
        {
            p50 = totals.Latencies.Milliseconds(0.5),
            p90 = totals.Latencies.Milliseconds(0.9),
            p99 = totals.Latencies.Milliseconds(0.99),
            max = totals.Latencies.Milliseconds(1),
        },
    });
}
