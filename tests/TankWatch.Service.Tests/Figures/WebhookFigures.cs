using System.Diagnostics;
using System.Globalization;
using TankWatch.Service.Tests.Sites;
using TankWatch.Service.Tests.Webhooks;
using Xunit;

namespace TankWatch.Service.Tests.Figures;

/// <summary>Not a test: measured when asked for by name, as tests/bench.sh does.</summary>
[Collection(nameof(IngestFigures))]
public sealed class WebhookFigures
{
    private const int Events = 300;

    /// <summary>Before what counts, in each run.</summary>
    private const int Warming = 30;

    private static readonly TimeSpan Apart = TimeSpan.FromMilliseconds(20);

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    [Fact(Explicit = true)]
    public async Task Delivery_beside_targets_that_hang_or_fail()
    {
        await P95Async(withBad: true);
        var turn = 0;
        var runs = await FigureTable.RepeatAsync(async () =>
        {
            var badFirst = turn++ % 2 == 0;
            var (first, second) = (await P95Async(badFirst), await P95Async(!badFirst));
            return badFirst ? (Alone: second, Beside: first) : (Alone: first, Beside: second);
        });
        var ratio = FigureTable.Median(runs.Select(run => run.Beside / run.Alone));
        FigureTable.Add(
            $"From an event to its request at 3 targets, {Events} events, p95, beside a target that hangs and one that answers 500, against the 3 alone",
            $"{ratio:0.00} ({FigureTable.Median(runs.Select(run => run.Beside)):0.0} ms against {FigureTable.Median(runs.Select(run => run.Alone)):0.0} ms)",
            "at most 1.10", ratio <= 1.1);
    }

    /// <returns>In milliseconds, over all events and the three targets that are well.</returns>
    private static async Task<double> P95Async(bool withBad)
    {
        await using var rig = HookRig.New(TimeProvider.System);
        await using var hanging = await Target.StartAsync();
        hanging.Hang();
        await using var failing = await Target.StartAsync(Target.Says(500));
        await using var one = await Target.StartAsync();
        await using var two = await Target.StartAsync();
        await using var three = await Target.StartAsync();
        Target[] well = [one, two, three];
        foreach (var target in withBad ? (Target[])[hanging, failing, .. well] : well)
        {
            rig.Add(target);
        }

        using var sender = rig.Sender();
        await sender.StartAsync(Stop);
        using var pace = new PeriodicTimer(Apart);
        var began = new long[Warming + Events];
        for (var n = 0; n < began.Length; n++)
        {
            await pace.WaitForNextTickAsync(Stop);
            began[n] = Stopwatch.GetTimestamp();
            rig.Note(n.ToString(CultureInfo.InvariantCulture));
        }

        await Eventually.Holds(() => well.All(target => target.Requests.Count == began.Length), "the events at those that are well");
        await sender.StopAsync(Stop);
        Assert.Equal(withBad ? 1 : 0, hanging.Requests.Select(request => request.Id).Distinct().Count());
        var took = well.SelectMany(target => target.Requests.Skip(Warming).Select(request => Stopwatch.GetElapsedTime(began[NumberOf(request)], request.At).TotalMilliseconds)).Order().ToList();
        return took[(int)(took.Count * 0.95)];
    }

    private static int NumberOf(TargetRequest request) =>
        int.Parse(request.Json.GetProperty("data").GetProperty("event").GetProperty("note").GetString()!, CultureInfo.InvariantCulture);
}
