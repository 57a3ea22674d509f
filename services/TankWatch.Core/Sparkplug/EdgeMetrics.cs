using System.Collections.Immutable;
using TankWatch.Core.FieldMessages;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Sparkplug;

/// <summary>One value that a metric had.</summary>
/// <param name="At">From when on.</param>
/// <param name="Value">Null for none.</param>
internal readonly record struct MetricValue(DateTimeOffset At, ReadingValue? Value);

/// <summary>
/// The mapped metrics of one unit. An edge node reports what has changed alone, and a field message says all of its device: so the last
/// values are kept, and a few before them for what comes later from the past.
/// </summary>
/// <param name="Unit">Whose metrics.</param>
internal sealed record EdgeMetrics(MappedUnit Unit)
{
    private const int PastKept = 16;

    /// <summary>What a message cannot do without, if it is mapped.</summary>
    private static readonly string[] Essential = ["wet", ReadingTarget.WetMask, "", ReadingTarget.Running, "flowing", "mains"];

    private ImmutableDictionary<string, Known> Metrics { get; init; } = ImmutableDictionary.Create<string, Known>(StringComparer.Ordinal);

    private SparkplugMapping Mapping => Unit.Unit.Sparkplug!;

    /// <summary>The mapped metric of this name or alias; null for any other.</summary>
    public string? NameOf(SparkplugMetric metric) => metric.Name.Length > 0
        ? Mapping.Metrics.ContainsKey(metric.Name) ? metric.Name : null
        : metric.Alias is { } alias ? Metrics.FirstOrDefault(known => known.Value.Alias == alias).Key : null;

    /// <summary>Takes a birth: all metrics with their types, aliases and present values, which become one message a device.</summary>
    /// <returns>What it says; and the mapped metrics that it lacks.</returns>
    public (EdgeMetrics Next, ReadingGatherer Said, ImmutableArray<string> Lacking) Birth(SparkplugPayload payload, DateTimeOffset receivedAt)
    {
        var said = new ReadingGatherer(Unit.Plan);
        var metrics = Metrics.Clear();
        foreach (var metric in payload.Metrics.Where(metric => Mapping.Metrics.ContainsKey(metric.Name)))
        {
            // What was known of the past stays good for backlogs; what lies ahead of the birth was said by a wrong clock.
            var at = TimeOf(metric, payload, receivedAt);
            var past = Metrics.GetValueOrDefault(metric.Name)?.Past.RemoveAll(value => value.At > at) ?? [];
            metrics = metrics.SetItem(metric.Name, new Known(metric.Alias, metric.Datatype, past).With(new(at, ValueOf(metric, metric.Datatype)), isCurrent: true));
        }

        var next = this with { Metrics = metrics };
        foreach (var message in Mapping.Metrics.Where(mapped => metrics.ContainsKey(mapped.Key)).GroupBy(mapped => (mapped.Value.Kind, mapped.Value.Device)))
        {
            next.Say(said, message.Key, message.Max(mapped => metrics[mapped.Key].Current.At), isHistorical: false);
        }

        SayOnline(said, true, TimeOf(payload.Timestamp) ?? receivedAt);
        return (next, said, [.. Mapping.Metrics.Keys.Where(name => !metrics.ContainsKey(name)).Order(StringComparer.Ordinal)]);
    }

    /// <summary>Takes what has changed, each metric at its own time.</summary>
    /// <returns>What it says; and the metrics whose values are of no kind that could mean something.</returns>
    public (EdgeMetrics Next, ReadingGatherer Said, ImmutableArray<string> Odd) Data(SparkplugPayload payload, DateTimeOffset receivedAt)
    {
        var said = new ReadingGatherer(Unit.Plan);
        var odd = ImmutableArray.CreateBuilder<string>();
        var next = this;
        var moments = payload.Metrics.Select(metric => (Name: NameOf(metric), Metric: metric)).Where(metric => metric.Name is not null)
            .GroupBy(metric => (At: TimeOf(metric.Metric, payload, receivedAt), metric.Metric.IsHistorical)).OrderBy(moment => moment.Key.At);
        foreach (var moment in moments)
        {
            var (at, isHistorical) = moment.Key;
            foreach (var (name, metric) in moment)
            {
                var known = next.Metrics.GetValueOrDefault(name!) ?? new(metric.Alias, metric.Datatype, []);
                var value = ValueOf(metric, known.Datatype);
                if (value is null && !metric.IsNull)
                {
                    odd.Add(name!);
                }

                next = next with { Metrics = next.Metrics.SetItem(name!, known.With(new(at, value), !isHistorical)) };
            }

            foreach (var message in moment.Select(metric => (Mapping.Metrics[metric.Name!].Kind, Mapping.Metrics[metric.Name!].Device)).Distinct())
            {
                next.Say(said, message, at, isHistorical);
            }
        }

        return (next, said, odd.ToImmutable());
    }

    /// <summary>Says that the unit is there, or is not.</summary>
    public ReadingGatherer Online(bool isOnline, DateTimeOffset at)
    {
        var said = new ReadingGatherer(Unit.Plan);
        SayOnline(said, isOnline, at);
        return said;
    }

    private static void SayOnline(ReadingGatherer said, bool isOnline, DateTimeOffset at) =>
        said.Add(new(MessageKind.Status, "", "online"), new ReadingValue.Flag(isOnline), at);

    /// <summary>Says all that is known of one device at a moment; nothing as long as what is essential is unknown.</summary>
    private void Say(ReadingGatherer said, (MessageKind? Kind, string Device) message, DateTimeOffset at, bool isHistorical)
    {
        var readings = Mapping.Metrics.Where(mapped => (mapped.Value.Kind, mapped.Value.Device) == message)
            .Select(mapped => (Target: mapped.Value, Value: Metrics.GetValueOrDefault(mapped.Key)?.At(at, isHistorical)))
            .OrderBy(reading => reading.Target.Member, StringComparer.Ordinal).ThenBy(reading => reading.Target.Probe).ToList();
        if (readings.Exists(reading => reading.Value is null && Essential.Contains(reading.Target.Member)))
        {
            return;
        }

        foreach (var (target, value) in readings.Where(reading => reading.Value is not null))
        {
            said.Add(target, value!, at);
        }
    }

    private static ReadingValue? ValueOf(SparkplugMetric metric, uint? datatype) => metric.IsNull ? null : metric.Value(datatype);

    private static DateTimeOffset TimeOf(SparkplugMetric metric, SparkplugPayload payload, DateTimeOffset receivedAt) =>
        TimeOf(metric.Timestamp) ?? TimeOf(payload.Timestamp) ?? receivedAt;

    /// <summary>Null for what is beyond all time: no message is refused for its time.</summary>
    internal static DateTimeOffset? TimeOf(ulong? milliseconds) =>
        milliseconds is { } since && since <= (ulong)DateTimeOffset.MaxValue.ToUnixTimeMilliseconds() ? DateTimeOffset.FromUnixTimeMilliseconds((long)since) : null;

    /// <summary>What is known of one metric.</summary>
    /// <param name="Alias">Given by the birth.</param>
    /// <param name="Datatype">Given by the birth.</param>
    /// <param name="Past">By time, the present value included; bounded.</param>
    private sealed record Known(ulong? Alias, uint? Datatype, ImmutableList<MetricValue> Past)
    {
        public MetricValue Current { get; private init; }

        public Known With(MetricValue value, bool isCurrent)
        {
            var past = Past.Insert(Past.FindLastIndex(earlier => earlier.At <= value.At) + 1, value);
            return this with { Past = past.Count > PastKept ? past.RemoveAt(0) : past, Current = isCurrent ? value : Current };
        }

        public ReadingValue? At(DateTimeOffset at, bool isHistorical) =>
            isHistorical ? Past.FindLast(value => value.At <= at).Value : Current.Value;
    }
}
