using System.Buffers;
using System.Text.Json;
using TankWatch.Core.Sites;
using TankWatch.Core.Time;

namespace TankWatch.Core.FieldMessages;

/// <summary>
/// Gathers the readings of one moment into the field messages that they make, as JSON: so that whatever came in another form passes the
/// same checks, is stored and read again the same way.
/// </summary>
/// <param name="plan">The site.</param>
internal sealed class ReadingGatherer(SitePlan plan)
{
    private const double LargestWhole = 1L << 53;

    private readonly Dictionary<(DateTimeOffset? At, MessageKind Kind, string Device), Dictionary<(string Member, int Probe), ReadingValue>> messages = [];
    private readonly Dictionary<string, ReadingValue> count = new(StringComparer.Ordinal);

    /// <param name="target">What it is about.</param>
    /// <param name="value">Of several for one moment, the last counts.</param>
    /// <param name="at">When it was so, to the millisecond; null when nothing says.</param>
    public void Add(ReadingTarget target, ReadingValue value, DateTimeOffset? at)
    {
        if (target.Kind is not { } kind)
        {
            count[target.Member] = value;
            return;
        }

        var key = (at, kind, target.Device);
        if (!messages.TryGetValue(key, out var members))
        {
            messages.Add(key, members = []);
        }

        members[(target.Member, target.Probe)] = value;
    }

    /// <summary>
    /// The messages, in the order in which their first readings came. With <c>boot</c> and <c>seq</c> given, the first has that number, and
    /// each one after it the next.
    /// </summary>
    public IEnumerable<(MessageKind Kind, byte[] Json)> Messages()
    {
        var index = 0;
        foreach (var ((at, kind, device), members) in messages)
        {
            yield return (kind, Compose(at, kind, device, members, index++));
        }
    }

    private byte[] Compose(
        DateTimeOffset? at, MessageKind kind, string device, Dictionary<(string Member, int Probe), ReadingValue> members, int index)
    {
        var json = new ArrayBufferWriter<byte>(256);
        using (var writer = new Utf8JsonWriter(json))
        {
            writer.WriteStartObject();
            if (at is { } time)
            {
                writer.WriteString("at", Rfc3339.Format(time));
            }

            WriteCount(writer, index);
            switch (kind)
            {
                case MessageKind.Level:
                    writer.WriteString("tank", device);
                    WriteWet(writer, plan.FindTank(device), members);
                    break;
                case MessageKind.Pump:
                    writer.WriteString("pump", device);
                    WritePump(writer, members);
                    break;
                case MessageKind.Inlet:
                    writer.WriteString("pump", device);
                    WriteMembers(writer, members);
                    break;
                case MessageKind.Status when !members.ContainsKey(("online", -1)):
                    writer.WriteBoolean("online", true); // Who speaks is there.
                    WriteMembers(writer, members);
                    break;
                default:
                    WriteMembers(writer, members);
                    break;
            }

            writer.WriteEndObject();
        }

        return json.WrittenSpan.ToArray();
    }

    private void WriteCount(Utf8JsonWriter writer, int index)
    {
        if (count.TryGetValue("boot", out var boot))
        {
            Write(writer, "boot", boot);
        }

        if (count.TryGetValue("seq", out var seq))
        {
            Write(writer, "seq", seq is ReadingValue.Number number ? new ReadingValue.Number(number.Value + index) : seq);
        }
    }

    private static void WriteWet(Utf8JsonWriter writer, Tank? tank, Dictionary<(string Member, int Probe), ReadingValue> members)
    {
        if (members.TryGetValue(("wet", -1), out var wet))
        {
            if (wet is ReadingValue.Text { Value: var digits } && digits.All(c => c is '0' or '1'))
            {
                WriteProbes(writer, digits.Select(c => (ReadingValue)new ReadingValue.Flag(c == '1')));
            }
            else
            {
                Write(writer, "wet", wet);
            }
        }
        else if (members.TryGetValue((ReadingTarget.WetMask, -1), out var mask))
        {
            if (tank is not null && mask is ReadingValue.Number { Value: >= 0 and var bits } && bits == Math.Floor(bits) && bits < 1 << tank.Probes.Length)
            {
                WriteProbes(writer, Enumerable.Range(0, tank.Probes.Length).Select(i => (ReadingValue)new ReadingValue.Flag(((int)bits & (1 << i)) != 0)));
            }
            else
            {
                Write(writer, "wet", mask);
            }
        }
        else
        {
            WriteProbes(writer, members.OrderBy(member => member.Key.Probe).Select(member => member.Value));
        }
    }

    private static void WriteProbes(Utf8JsonWriter writer, IEnumerable<ReadingValue> probes)
    {
        writer.WriteStartArray("wet");
        foreach (var probe in probes)
        {
            Write(writer, null, probe);
        }

        writer.WriteEndArray();
    }

    private static void WritePump(Utf8JsonWriter writer, Dictionary<(string Member, int Probe), ReadingValue> members)
    {
        foreach (var ((member, _), value) in members)
        {
            if (member != ReadingTarget.Running)
            {
                Write(writer, member, value);
            }
            else if (value is ReadingValue.Flag running)
            {
                writer.WriteString("state", running.Value ? "running" : "stopped");
            }
            else
            {
                Write(writer, "state", value);
            }
        }

        if (!members.ContainsKey(("cause", -1)))
        {
            writer.WriteString("cause", "unknown"); // Few controllers of other makes know why they stopped.
        }
    }

    private static void WriteMembers(Utf8JsonWriter writer, Dictionary<(string Member, int Probe), ReadingValue> members)
    {
        foreach (var ((member, _), value) in members)
        {
            Write(writer, member, value);
        }
    }

    private static void Write(Utf8JsonWriter writer, string? member, ReadingValue value)
    {
        if (member is not null)
        {
            writer.WritePropertyName(member);
        }

        switch (value)
        {
            case ReadingValue.Flag flag:
                writer.WriteBooleanValue(flag.Value);
                break;
            case ReadingValue.Number { Value: var whole } when whole == Math.Floor(whole) && Math.Abs(whole) <= LargestWhole:
                writer.WriteNumberValue((long)whole); // Without an exponent, as a count must be.
                break;
            case ReadingValue.Number number:
                writer.WriteNumberValue(number.Value);
                break;
            case ReadingValue.Text text:
                writer.WriteStringValue(text.Value);
                break;
        }
    }
}
