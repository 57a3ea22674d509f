using System.Collections.Immutable;
using TankWatch.Core.FieldMessages;

namespace TankWatch.Core.Senml;

/// <summary>One field of a record as it came.</summary>
/// <param name="Label">As in JSON, such as <c>bn</c>; a number of CBOR that is in no table as its digits.</param>
/// <param name="Value">A double, string or bool; null for anything else.</param>
internal readonly record struct SenmlField(string Label, object? Value);

/// <summary>A record with its base values applied; times stay as they are, relative or not.</summary>
/// <param name="Name">Base name and name.</param>
/// <param name="Unit">Its own or the base unit; null without either.</param>
/// <param name="Value">Null when the record has only a sum, or bytes.</param>
/// <param name="Sum">Base sum and sum; null without either.</param>
/// <param name="Time">Seconds, to be resolved by <see cref="SenmlTime"/>; 0 when there is none.</param>
/// <param name="Fault">Why the record is refused, if it is.</param>
/// <param name="Fields">As they came.</param>
internal sealed record SenmlRecord(
    string Name, string? Unit, ReadingValue? Value, double? Sum, double Time, (RefusalReason Reason, string Detail)? Fault, ImmutableArray<SenmlField> Fields)
{
    /// <summary>The bases in force, so that a record that is kept tells all of itself.</summary>
    public required (string Name, double Time) Base { get; init; }
}

/// <summary>Resolves packs of Sensor Measurement Lists (RFC 8428, 4.6), whichever format they came in.</summary>
internal static class SenmlPack
{
    public const int MaxRecords = 10_000;

    /// <summary>Names are short; a long base name in front of many records must not fill the memory.</summary>
    private const int MaxName = 255;

    private const double Version = 10; // RFC 8428, 4.4.

    private static readonly string[] ValueLabels = ["v", "vs", "vb", "vd"];

    /// <param name="records">The fields of each; null for one that is no object.</param>
    /// <returns>A record that cannot be used has its fault; a fault of what later records rest on refuses the pack.</returns>
    public static (ImmutableArray<SenmlRecord> Records, (RefusalReason Reason, string Detail)? Fault) Resolve(IReadOnlyList<ImmutableArray<SenmlField>?> records)
    {
        var bases = new Bases("", 0, null, null, null);
        var resolved = ImmutableArray.CreateBuilder<SenmlRecord>(records.Count);
        foreach (var fields in records)
        {
            if (fields is null)
            {
                resolved.Add(new("", null, null, null, 0, (RefusalReason.WrongType, "a record that is not an object"), []) { Base = (bases.Name, bases.Time) });
                continue;
            }

            if (FaultOfBases(fields.Value) is { } fault)
            {
                return ([], fault);
            }

            bases = bases.With(fields.Value);
            if (fields.Value.Any(field => field.Label is "n" or "u" or "v" or "vs" or "vb" or "vd" or "s" or "t"))
            {
                resolved.Add(Resolve(fields.Value, bases));
            }
        }

        return (resolved.ToImmutable(), null);
    }

    private static (RefusalReason Reason, string Detail)? FaultOfBases(ImmutableArray<SenmlField> fields)
    {
        foreach (var (label, value) in fields)
        {
            switch (label)
            {
                case "bver" when value is not double:
                case "bn" or "bu" when value is not string:
                case "bt" or "bv" or "bs" when value is not double:
                    return (RefusalReason.WrongType, $"{label}: must be {(label is "bn" or "bu" ? "text" : "a number")}");
                case "bver" when value is not (double and >= 1 and <= Version):
                    return (RefusalReason.NotUnderstood, $"bver: of versions above {Version} nothing is known");
                case "bn" when ((string)value!).Length > MaxName:
                    return (RefusalReason.OutOfRange, $"bn: must be at most {MaxName} characters");
                case [.., '_']: // RFC 8428, 4.4. It could be a base field, so that no record after it could be trusted either.
                    return (RefusalReason.NotUnderstood, "a field whose label ends in _ must be understood, and is not");
            }
        }

        return null;
    }

    private static SenmlRecord Resolve(ImmutableArray<SenmlField> fields, Bases bases)
    {
        var own = fields.ToLookup(field => field.Label, field => field.Value);
        object? Last(string label) => own[label].LastOrDefault();
        var name = bases.Name + (Last("n") as string);
        var (value, fault) = ValueOf(own, bases);
        fault ??= own["n"].Any(n => n is not string) ? (RefusalReason.WrongType, "n: must be text") : null;
        fault ??= own["u"].Any(u => u is not string) ? (RefusalReason.WrongType, "u: must be text") : null;
        fault ??= own["t"].Concat(own["s"]).Concat(own["ut"]).Any(number => number is not double) ? (RefusalReason.WrongType, "t, s and ut: must be numbers") : null;
        fault ??= IsName(name) ? null : (RefusalReason.OutOfRange, $"n: with its base name, must be 1 to {MaxName} of A-Z a-z 0-9 - : . / _, the first a letter or digit");
        var sum = Last("s") is double ownSum ? ownSum + (bases.Sum ?? 0) : bases.Sum;
        return new(name, Last("u") as string ?? bases.Unit, value, sum, bases.Time + (Last("t") as double? ?? 0), fault, fields) { Base = (bases.Name, bases.Time) };
    }

    private static (ReadingValue? Value, (RefusalReason, string)? Fault) ValueOf(ILookup<string, object?> own, Bases bases)
    {
        var present = ValueLabels.Where(own.Contains).ToArray();
        if (present.Length > 1)
        {
            return (null, (RefusalReason.OutOfRange, $"{string.Join(", ", present)}: a record has one value"));
        }

        if (present is [])
        {
            return bases.Value is { } alone ? (new ReadingValue.Number(alone), null)
                : own.Contains("s") || bases.Sum is not null ? (null, null) : (null, (RefusalReason.MissingMember, "v, vs, vb or vd: is missing"));
        }

        return (present[0], own[present[0]].Last()) switch
        {
            ("v", double number) when !double.IsFinite(number + (bases.Value ?? 0)) => (null, (RefusalReason.OutOfRange, "v: must be a finite number")),
            ("v", double number) => (new ReadingValue.Number(number + (bases.Value ?? 0)), null),
            ("vs", string text) => (new ReadingValue.Text(text), null),
            ("vb", bool flag) => (new ReadingValue.Flag(flag), null),
            ("vd", _) => (null, null),
            var (label, _) => (null, (RefusalReason.WrongType, $"{label}: must be {label switch { "v" => "a number", "vs" => "text", _ => "true or false" }}")),
        };
    }

    /// <summary>RFC 8428, 4.5.1.</summary>
    private static bool IsName(string name) =>
        name.Length is > 0 and <= MaxName && char.IsAsciiLetterOrDigit(name[0]) && name.All(c => char.IsAsciiLetterOrDigit(c) || c is '-' or ':' or '.' or '/' or '_');

    private readonly record struct Bases(string Name, double Time, string? Unit, double? Value, double? Sum)
    {
        public Bases With(ImmutableArray<SenmlField> fields)
        {
            var next = this;
            foreach (var (label, value) in fields)
            {
                next = label switch
                {
                    "bn" => next with { Name = (string)value! },
                    "bt" => next with { Time = (double)value! },
                    "bu" => next with { Unit = (string)value! },
                    "bv" => next with { Value = (double)value! },
                    "bs" => next with { Sum = (double)value! },
                    _ => next,
                };
            }

            return next;
        }
    }
}

/// <summary>RFC 8428, 4.5.3.</summary>
internal static class SenmlTime
{
    private const double AbsoluteFrom = 1 << 28;

    /// <param name="seconds">Since 1970 from 2^28 on; below that, from now.</param>
    /// <param name="now">When the pack came.</param>
    /// <returns>To the millisecond. Null for 0, "roughly now", and for what is no time at all: no message is refused for its time.</returns>
    public static DateTimeOffset? Resolve(double seconds, DateTimeOffset now)
    {
        var milliseconds = Math.Round(seconds * 1000) + (seconds >= AbsoluteFrom ? 0 : now.ToUnixTimeMilliseconds());
        return seconds != 0 && milliseconds >= DateTimeOffset.MinValue.ToUnixTimeMilliseconds() && milliseconds <= DateTimeOffset.MaxValue.ToUnixTimeMilliseconds()
            ? DateTimeOffset.FromUnixTimeMilliseconds((long)milliseconds) : null;
    }
}
