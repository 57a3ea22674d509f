using System.Buffers;
using System.Globalization;
using System.Text;
using System.Text.Json;

namespace TankWatch.Simulator.Units;

/// <param name="At">As the unit's clock has it; null without a clock.</param>
/// <param name="Boot">Restarts so far.</param>
/// <param name="Seq">Messages since the last restart.</param>
internal readonly record struct Stamp(DateTimeOffset? At, long Boot, long Seq);

/// <summary>Field messages as JSON, member by member as the contract names them.</summary>
internal static class FieldPayload
{
    private const string Firmware = "2.3.1";

    public static string Level(Stamp stamp, string tank, bool[] wet) => Write(stamp, json =>
    {
        json.WriteString("tank", tank);
        json.WriteStartArray("wet");
        foreach (var probe in wet)
        {
            json.WriteBooleanValue(probe);
        }

        json.WriteEndArray();
    });

    public static string Pump(Stamp stamp, PumpReport report) => Write(stamp, json =>
    {
        json.WriteString("pump", report.Pump);
        json.WriteString("state", report.Running ? "running" : "stopped");
        json.WriteString("cause", report.Cause);
        json.WriteString("mode", report.Manual ? "manual" : "auto");
        if (report.Volts is not { } volts)
        {
            return;
        }

        WriteRounded(json, "volts", volts);
        if (report.Running && report.Watts > 0)
        {
            WriteRounded(json, "amps", report.Watts / (PowerFactor * volts));
            WriteRounded(json, "watts", report.Watts, decimals: 0);
        }
    });

    public static string Inlet(Stamp stamp, string pump, bool flowing) => Write(stamp, json =>
    {
        json.WriteString("pump", pump);
        json.WriteBoolean("flowing", flowing);
    });

    public static string Supply(Stamp stamp, bool mains, double volts) => Write(stamp, json =>
    {
        json.WriteBoolean("mains", mains);
        WriteRounded(json, "volts", volts);
    });

    public static string Online(Stamp stamp, int signalDbm, int? batteryPercent) => Write(stamp, json =>
    {
        json.WriteBoolean("online", true);
        json.WriteString("firmware", Firmware);
        json.WriteNumber("signalDbm", signalDbm);
        if (batteryPercent is { } percent)
        {
            json.WriteNumber("batteryPercent", percent);
        }
    });

    /// <summary>What the broker says for a unit that has gone: it was written on connecting, so it bears no time and no seq.</summary>
    public static string Will(long boot) => string.Create(CultureInfo.InvariantCulture, $"{{\"online\":false,\"boot\":{boot}}}");

    private const double PowerFactor = 0.85;

    private static void WriteRounded(Utf8JsonWriter json, string name, double value, int decimals = 1) =>
        json.WriteNumber(name, (decimal)Math.Round(value, decimals)); // A decimal keeps 229.7 from turning into 229.70000000000002.

    private static string Write(Stamp stamp, Action<Utf8JsonWriter> writeMembers)
    {
        var buffer = new ArrayBufferWriter<byte>(192);
        using (var json = new Utf8JsonWriter(buffer))
        {
            json.WriteStartObject();
            if (stamp.At is { } at)
            {
                json.WriteString("at", at.UtcDateTime.ToString("yyyy-MM-dd'T'HH:mm:ss.fff'Z'", CultureInfo.InvariantCulture));
            }

            json.WriteNumber("boot", stamp.Boot);
            json.WriteNumber("seq", stamp.Seq);
            writeMembers(json);
            json.WriteEndObject();
        }

        return Encoding.UTF8.GetString(buffer.WrittenSpan);
    }
}

/// <summary>A pump as its unit reports it; without volts where nothing measures the mains.</summary>
internal readonly record struct PumpReport(string Pump, bool Running, string Cause, bool Manual, double? Volts, double Watts);
