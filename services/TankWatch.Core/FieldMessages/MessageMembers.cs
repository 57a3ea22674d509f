using System.Buffers.Text;
using System.Text;
using System.Text.Json;
using TankWatch.Core.Sites;

namespace TankWatch.Core.FieldMessages;

/// <summary>Reads the members of one message; the first fault is kept and names the member.</summary>
/// <param name="json">The message, one object.</param>
/// <param name="table">Where its members stand.</param>
internal ref struct MessageMembers(ReadOnlySpan<byte> json, ref readonly MemberTable table)
{
    private const int MaxText = 200;

    private readonly ReadOnlySpan<byte> json = json;
    private readonly ref readonly MemberTable table = ref table;

    public (RefusalReason Reason, string Detail)? Fault { get; private set; }

    public Tank? Tank(SitePlan plan, FieldUnit unit)
    {
        if (!TryGetDevice(Member.Tank, "tank", out var id))
        {
            return null;
        }

        foreach (var index in unit.Tanks)
        {
            if (Ascii.Equals(id, plan.Tanks[index].Id.Value))
            {
                return plan.Tanks[index];
            }
        }

        return Refuse<Tank>(RefusalReason.UnknownDevice, "tank: the unit reports no tank of this id");
    }

    public Pump? Pump(SitePlan plan, FieldUnit unit)
    {
        if (!TryGetDevice(Member.Pump, "pump", out var id))
        {
            return null;
        }

        foreach (var index in unit.Pumps)
        {
            if (Ascii.Equals(id, plan.Pumps[index].Id.Value))
            {
                return plan.Pumps[index];
            }
        }

        return Refuse<Pump>(RefusalReason.UnknownDevice, "pump: the unit reports no pump of this id");
    }

    public string? Text(Member member, string name)
    {
        if (!TryGet(member, out var value))
        {
            return null;
        }

        return value.Type == JsonTokenType.String && JsonTexts.ReaderAt(Raw(value)).GetString() is { Length: <= MaxText } clean && !clean.Any(char.IsControl)
            ? clean : Refuse<string>(RefusalReason.WrongType, $"{name}: must be text of at most {MaxText} characters");
    }

    public bool? Flag(Member member, string name) => !TryGetRequired(member, name, out var value) ? null : value.Type switch
    {
        JsonTokenType.True => true,
        JsonTokenType.False => false,
        _ => RefuseValue<bool>(RefusalReason.WrongType, $"{name}: must be true or false"),
    };

    public int? Wet(int probes)
    {
        if (!TryGetRequired(Member.Wet, "wet", out var value))
        {
            return null;
        }

        if (value.Type != JsonTokenType.StartArray)
        {
            return RefuseValue<int>(RefusalReason.WrongType, "wet: must be an array of true and false");
        }

        var (wet, count, areFlags) = (0, 0, true);
        var reader = JsonTexts.ReaderAt(Raw(value));
        for (; reader.Read() && reader.TokenType != JsonTokenType.EndArray; count++)
        {
            wet |= reader.TokenType == JsonTokenType.True && count < probes ? 1 << count : 0;
            areFlags &= reader.TokenType is JsonTokenType.True or JsonTokenType.False;
            reader.Skip();
        }

        if (count != probes)
        {
            return RefuseValue<int>(RefusalReason.WrongProbeCount, $"wet: {count} probes where the site file has {probes}");
        }

        return areFlags ? wet : RefuseValue<int>(RefusalReason.WrongType, "wet: must be an array of true and false");
    }

    public double? Number(Member member, string name, double min, double max)
    {
        if (!TryGet(member, out var value))
        {
            return null;
        }

        var text = Raw(value);
        if (value.Type != JsonTokenType.Number || !Utf8Parser.TryParse(text, out double number, out var read) || read != text.Length)
        {
            return RefuseValue<double>(RefusalReason.WrongType, $"{name}: must be a number");
        }

        return number >= min && number <= max ? number : RefuseValue<double>(RefusalReason.OutOfRange, $"{name}: must be {min} to {max}");
    }

    public long? Whole(Member member, string name, long max)
    {
        if (!TryGet(member, out var value))
        {
            return null;
        }

        if (value.Type != JsonTokenType.Number)
        {
            return RefuseValue<long>(RefusalReason.WrongType, $"{name}: must be a whole number");
        }

        var text = Raw(value);
        return Utf8Parser.TryParse(text, out long number, out var read) && read == text.Length && number >= 0 && number <= max
            ? number : RefuseValue<long>(RefusalReason.OutOfRange, $"{name}: must be a whole number from 0 to {max}");
    }

    /// <returns>One of <paramref name="names"/>; null with a fault, or when it is absent.</returns>
    public string? OneOf(Member member, string name, string[] names, bool required)
    {
        if (!(required ? TryGetRequired(member, name, out var value) : TryGet(member, out value)))
        {
            return null;
        }

        if (value.Type != JsonTokenType.String)
        {
            return Refuse<string>(RefusalReason.WrongType, $"{name}: must be text");
        }

        var text = TextOf(value);
        foreach (var one in names)
        {
            if (Ascii.Equals(text, one))
            {
                return one;
            }
        }

        return Refuse<string>(RefusalReason.OutOfRange, $"{name}: must be one of {string.Join(", ", names)}");
    }

    /// <summary>A message is never refused for its time: one that cannot be read is as good as absent.</summary>
    public readonly DateTimeOffset? Time(Member member)
    {
        var value = table[(int)member];
        if (value.Type != JsonTokenType.String)
        {
            return null;
        }

        return JsonTexts.TimeOf(Raw(value), value.IsEscaped);
    }

    private bool TryGetDevice(Member member, string name, out ReadOnlySpan<byte> id)
    {
        id = default;
        if (!TryGetRequired(member, name, out var value))
        {
            return false;
        }

        if (value.Type != JsonTokenType.String)
        {
            Refuse<string>(RefusalReason.WrongType, $"{name}: must be text");
            return false;
        }

        id = TextOf(value);
        return true;
    }

    private readonly bool TryGet(Member member, out MemberValue value)
    {
        value = table[(int)member];
        return value.Type is not (JsonTokenType.None or JsonTokenType.Null);
    }

    private bool TryGetRequired(Member member, string name, out MemberValue value)
    {
        var isThere = TryGet(member, out value);
        if (!isThere)
        {
            Fault ??= (RefusalReason.MissingMember, $"{name}: is missing");
        }

        return isThere;
    }

    private readonly ReadOnlySpan<byte> Raw(MemberValue value) => json.Slice(value.Start, value.Length);

    private readonly ReadOnlySpan<byte> TextOf(MemberValue value) => JsonTexts.TextOf(Raw(value), value.IsEscaped);

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
