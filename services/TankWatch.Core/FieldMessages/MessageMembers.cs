using System.Text.Json;
using TankWatch.Core.Sites;
using TankWatch.Core.Time;

namespace TankWatch.Core.FieldMessages;

/// <summary>Reads the members of one message; the first fault is kept and names the member.</summary>
internal sealed class MessageMembers(JsonElement message)
{
    private const int MaxText = 200;

    public (RefusalReason Reason, string Detail)? Fault { get; private set; }

    public Tank? Tank(SitePlan plan, FieldUnit unit)
    {
        if (Device("tank") is not { } id)
        {
            return null;
        }

        var tank = plan.FindTank(id);
        return tank is not null && unit.Tanks.Contains(tank.Index) ? tank : Refuse<Tank>(RefusalReason.UnknownDevice, "tank: the unit reports no tank of this id");
    }

    public Pump? Pump(SitePlan plan, FieldUnit unit)
    {
        if (Device("pump") is not { } id)
        {
            return null;
        }

        var pump = plan.FindPump(id);
        return pump is not null && unit.Pumps.Contains(pump.Index) ? pump : Refuse<Pump>(RefusalReason.UnknownDevice, "pump: the unit reports no pump of this id");
    }

    private string? Device(string member) => Get(member, required: true) switch
    {
        null => null,
        { ValueKind: JsonValueKind.String } text => text.GetString(),
        _ => Refuse<string>(RefusalReason.WrongType, $"{member}: must be text"),
    };

    public string? Text(string member)
    {
        var value = Get(member, required: false);
        if (value is null)
        {
            return null;
        }

        return value is { ValueKind: JsonValueKind.String } text && text.GetString() is { Length: <= MaxText } clean && !clean.Any(char.IsControl)
            ? clean : Refuse<string>(RefusalReason.WrongType, $"{member}: must be text of at most {MaxText} characters");
    }

    public bool? Flag(string member, bool required) => Get(member, required)?.ValueKind switch
    {
        null => null,
        JsonValueKind.True => true,
        JsonValueKind.False => false,
        _ => RefuseValue<bool>(RefusalReason.WrongType, $"{member}: must be true or false"),
    };

    public int? Wet(string member, int probes)
    {
        if (Get(member, required: true) is not { } value)
        {
            return null;
        }

        if (value.ValueKind != JsonValueKind.Array)
        {
            return RefuseValue<int>(RefusalReason.WrongType, $"{member}: must be an array of true and false");
        }

        if (value.GetArrayLength() != probes)
        {
            return RefuseValue<int>(RefusalReason.WrongProbeCount, $"{member}: {value.GetArrayLength()} probes where the site file has {probes}");
        }

        var (wet, bit) = (0, 1);
        foreach (var probe in value.EnumerateArray())
        {
            if (probe.ValueKind is not (JsonValueKind.True or JsonValueKind.False))
            {
                return RefuseValue<int>(RefusalReason.WrongType, $"{member}: must be an array of true and false");
            }

            wet |= probe.ValueKind == JsonValueKind.True ? bit : 0;
            bit <<= 1;
        }

        return wet;
    }

    public double? Number(string member, double min, double max)
    {
        if (Get(member, required: false) is not { } value)
        {
            return null;
        }

        if (value.ValueKind != JsonValueKind.Number || !value.TryGetDouble(out var number))
        {
            return RefuseValue<double>(RefusalReason.WrongType, $"{member}: must be a number");
        }

        return number >= min && number <= max ? number : RefuseValue<double>(RefusalReason.OutOfRange, $"{member}: must be {min} to {max}");
    }

    public long? Whole(string member, long max)
    {
        if (Get(member, required: false) is not { } value)
        {
            return null;
        }

        if (value.ValueKind != JsonValueKind.Number)
        {
            return RefuseValue<long>(RefusalReason.WrongType, $"{member}: must be a whole number");
        }

        return value.TryGetInt64(out var number) && number >= 0 && number <= max
            ? number : RefuseValue<long>(RefusalReason.OutOfRange, $"{member}: must be a whole number from 0 to {max}");
    }

    public string? OneOf(string member, string[] names, bool required)
    {
        if (Get(member, required) is not { } value)
        {
            return null;
        }

        if (value.ValueKind != JsonValueKind.String)
        {
            return Refuse<string>(RefusalReason.WrongType, $"{member}: must be text");
        }

        var name = value.GetString();
        return names.Contains(name) ? name : Refuse<string>(RefusalReason.OutOfRange, $"{member}: must be one of {string.Join(", ", names)}");
    }

    /// <summary>A message is never refused for its time: one that cannot be read is as good as absent.</summary>
    public DateTimeOffset? Time(string member) =>
        message.TryGetProperty(member, out var value) && value.ValueKind == JsonValueKind.String && Rfc3339.TryParse(value.GetString(), out var time)
            ? time : null;

    private JsonElement? Get(string member, bool required)
    {
        if (message.TryGetProperty(member, out var value) && value.ValueKind != JsonValueKind.Null)
        {
            return value;
        }

        if (required)
        {
            Fault ??= (RefusalReason.MissingMember, $"{member}: is missing");
        }

        return null;
    }

    private T? Refuse<T>(RefusalReason reason, string detail) where T : class
    {
        Fault ??= (reason, detail);
        return null;
    }

    private T? RefuseValue<T>(RefusalReason reason, string detail) where T : struct
    {
        Fault ??= (reason, detail);
        return null;
    }
}
