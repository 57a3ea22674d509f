using System.Collections.Immutable;

namespace TankWatch.Core.Texts;

/// <summary>What stands in the place of a name in a text: see the kinds below. What it looks like is the language's business.</summary>
public abstract record PhraseValue
{
    /// <summary>A name or an id, shown as it is in every language; never words.</summary>
    public static implicit operator PhraseValue(string name) => new PhraseName(name);

    /// <summary>A figure, told to a tenth at most: two that read alike are one.</summary>
    public static implicit operator PhraseValue(double value) => new PhraseNumber(Math.Round(value, 1, MidpointRounding.AwayFromZero) + 0.0); // No "-0".

    public static implicit operator PhraseValue(TimeOnly time) => new PhraseClock((time.Hour * 60) + time.Minute);
}

/// <param name="Name">An id, or a name that people at the site gave.</param>
public sealed record PhraseName(string Name) : PhraseValue;

/// <param name="Value">Finite.</param>
public sealed record PhraseNumber(double Value) : PhraseValue;

/// <param name="At">With the offset of the clock that it is to be read on, to the minute.</param>
public sealed record PhraseMoment(DateTimeOffset At) : PhraseValue
{
    /// <summary>A moment as people in a zone read it.</summary>
    public static PhraseMoment In(TimeZoneInfo zone, DateTimeOffset at) => new(TimeZoneInfo.ConvertTime(at.AddTicks(-(at.UtcTicks % TimeSpan.TicksPerMinute)), zone));
}

/// <param name="Minute">Of the local day, 0 to 1439.</param>
public sealed record PhraseClock(int Minute) : PhraseValue;

/// <summary>What stands between the items of a list: <c>list.and</c>, <c>list.or</c>, <c>list.comma</c>, <c>list.sentences</c>.</summary>
public enum ListStyle { And, Or, Comma, Sentences }

public sealed record PhraseList(ListStyle Style, ImmutableArray<PhraseValue> Items) : PhraseValue
{
    public static PhraseList Of(ListStyle style, IEnumerable<PhraseValue> items) => new(style, [.. items]);

    public bool Equals(PhraseList? other) => other is not null && Style == other.Style && Items.SequenceEqual(other.Items);

    public override int GetHashCode() => HashCode.Combine(Style, Items.Length);
}

/// <param name="Name">As the texts have it between braces.</param>
/// <param name="Value">What stands there.</param>
public readonly record struct PhraseArgument(string Name, PhraseValue Value);

/// <summary>
/// Something to be said to a person, in no language yet: the key of a text and what fills its gaps. Two that are equal read alike in every language.
/// Decision 0012.
/// </summary>
/// <param name="Key">Names a text of the resources, such as <c>leak.summary</c>; empty for one that is only to be repeated.</param>
/// <param name="Arguments">In the order in which they were given.</param>
public sealed record Phrase(string Key, ImmutableArray<PhraseArgument> Arguments) : PhraseValue
{
    public static Phrase Of(string key, params ReadOnlySpan<(string Name, PhraseValue Value)> arguments)
    {
        var all = ImmutableArray.CreateBuilder<PhraseArgument>(arguments.Length);
        foreach (var (name, value) in arguments)
        {
            all.Add(new(name, value));
        }

        return new(key, all.MoveToImmutable());
    }

    /// <summary>Texts without gaps, in their order.</summary>
    public static ImmutableArray<Phrase> Each(params ReadOnlySpan<string> keys)
    {
        var all = ImmutableArray.CreateBuilder<Phrase>(keys.Length);
        foreach (var key in keys)
        {
            all.Add(Of(key));
        }

        return all.MoveToImmutable();
    }

    /// <summary>Words that are in some language already: what an older version stored, or what a person wrote.</summary>
    public static Phrase Literal(string words) => Of("", ("", words));

    /// <summary>The words of a <see cref="Literal"/>; null for any other.</summary>
    public string? AsLiteral => Key.Length == 0 && Arguments is [{ Value: PhraseName words }] ? words.Name : null;

    public bool Equals(Phrase? other) => other is not null
        && (ReferenceEquals(this, other) || (Key == other.Key && (Arguments == other.Arguments || Arguments.SequenceEqual(other.Arguments))));

    public override int GetHashCode() => HashCode.Combine(Key, Arguments.Length);
}
