using System.Text;
using TankWatch.Core.FieldMessages;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;

namespace TankWatch.Service.Storage.Series;

/// <summary>
/// What a message says, packed by kind, without who said it of what and when: those stand in its stream and row. A format: add
/// kinds and flags, never change them.
/// </summary>
internal static class RowContent
{
    private const int On = 1, Tells = 2, IsManual = 4, HasVolts = 8, HasAmps = 16, HasWatts = 32;
    private const int HasFirmware = 2, HasSignal = 4, HasBattery = 8;
    private const int Hundredths = 100;

    public static void Write(PackedWriter into, Observation seen, SitePlan plan)
    {
        switch (seen)
        {
            case LevelObservation level:
                into.Number((ulong)plan.Tanks[level.Tank].Probes.Length);
                into.Number((ulong)level.Wet);
                break;
            case PumpObservation pump:
                into.Byte((byte)(
                    (pump.Running ? On : 0) | (pump.Manual is null ? 0 : Tells) | (pump.Manual == true ? IsManual : 0)
                    | (pump.Volts is null ? 0 : HasVolts) | (pump.Amps is null ? 0 : HasAmps) | (pump.Watts is null ? 0 : HasWatts)));
                into.Byte((byte)pump.Cause);
                Measure(into, pump.Volts);
                Measure(into, pump.Amps);
                Measure(into, pump.Watts);
                break;
            case InletObservation inlet:
                into.Byte((byte)(inlet.Flowing ? On : 0));
                break;
            case SupplyObservation supply:
                into.Byte((byte)((supply.Mains ? On : 0) | (supply.Volts is null ? 0 : HasVolts)));
                Measure(into, supply.Volts);
                break;
            case StatusObservation status:
                into.Byte((byte)(
                    (status.Online ? On : 0) | (status.Firmware is null ? 0 : HasFirmware) | (status.SignalDbm is null ? 0 : HasSignal)
                    | (status.BatteryPercent is null ? 0 : HasBattery)));
                Text(into, status.Firmware);
                Measure(into, status.SignalDbm);
                Measure(into, status.BatteryPercent);
                break;
            default:
                throw new ArgumentOutOfRangeException(nameof(seen), seen, "no kind of message");
        }
    }

    /// <summary>Reads back what was written, fitted to a plan.</summary>
    /// <param name="content">From <see cref="Write"/>.</param>
    /// <param name="kind">Of the stream.</param>
    /// <param name="stamp">Of the row.</param>
    /// <param name="plan">Of the site, as it is now.</param>
    /// <param name="device">Index of the tank or pump in it; 0 where the kind names none.</param>
    /// <returns>Null when the tank has another number of probes now.</returns>
    public static Observation? Read(ReadOnlyMemory<byte> content, MessageKind kind, in Stamp stamp, SitePlan plan, int device)
    {
        var from = new PackedReader(content);
        switch (kind)
        {
            case MessageKind.Level:
                return from.Count() == plan.Tanks[device].Probes.Length ? new LevelObservation(stamp, device, from.Count()) : null;
            case MessageKind.Pump:
                var (flags, cause) = (from.Byte(), (PumpCause)from.Byte());
                return new PumpObservation(
                    stamp, device, (flags & On) != 0, cause, (flags & Tells) == 0 ? null : (flags & IsManual) != 0,
                    Measure(ref from, flags & HasVolts), Measure(ref from, flags & HasAmps), Measure(ref from, flags & HasWatts));
            case MessageKind.Inlet:
                return new InletObservation(stamp, device, (from.Byte() & On) != 0);
            case MessageKind.Supply:
                var supply = from.Byte();
                return new SupplyObservation(stamp, (supply & On) != 0, Measure(ref from, supply & HasVolts));
            default:
                var status = from.Byte();
                var firmware = (status & HasFirmware) == 0 ? null : Encoding.UTF8.GetString(from.Bytes(from.Count()).Span);
                return new StatusObservation(stamp, (status & On) != 0, firmware, Measure(ref from, status & HasSignal), Measure(ref from, status & HasBattery));
        }
    }

    /// <summary>Reads which probes are wet from the content of a level message, and how many there are.</summary>
    public static (int Wet, int Probes) ReadWet(ReadOnlyMemory<byte> content)
    {
        var from = new PackedReader(content);
        var probes = from.Count();
        return (from.Count(), probes);
    }

    /// <summary>Most measured values have at most two decimals; those are whole hundredths, and any other stands bit by bit.</summary>
    private static void Measure(PackedWriter into, double? value)
    {
        if (value is not { } number)
        {
            return;
        }

        var hundredths = Math.Round(number * Hundredths);
        if (hundredths / Hundredths is var back && BitConverter.DoubleToInt64Bits(back) == BitConverter.DoubleToInt64Bits(number))
        {
            into.Byte(0);
            into.Signed((long)hundredths);
        }
        else
        {
            into.Byte(1);
            Span<byte> bits = stackalloc byte[sizeof(double)];
            BitConverter.TryWriteBytes(bits, number);
            into.Bytes(bits);
        }
    }

    private static double? Measure(ref PackedReader from, int present) => present == 0 ? null
        : from.Byte() == 0 ? from.Signed() / (double)Hundredths
        : BitConverter.ToDouble(from.Bytes(sizeof(double)).Span);

    private static void Text(PackedWriter into, string? text)
    {
        if (text is null)
        {
            return;
        }

        var bytes = Encoding.UTF8.GetBytes(text);
        into.Number((ulong)bytes.Length);
        into.Bytes(bytes);
    }
}
