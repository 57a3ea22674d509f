using System.Collections.Immutable;
using TankWatch.Core.Texts;

namespace TankWatch.Service.Pages;

/// <summary>What a part of a sentence is.</summary>
public enum SaidAs
{
    /// <summary>Our own words.</summary>
    Words,

    /// <summary>Somebody else wrote it: it may hold anything, and is isolated.</summary>
    Name,

    /// <summary>A sentence of ours within another: isolated, and read in the page's direction whatever name it begins with.</summary>
    Sentence,

    /// <summary>Somebody else sent it, perhaps no text at all: what cannot be seen is named.</summary>
    Raw,

    /// <summary>The word that tells, beside the accent, that a hand is needed.</summary>
    Word,

    /// <summary>Like a name, of several lines perhaps.</summary>
    Note,

    /// <summary>To be typed.</summary>
    Code,

    /// <summary>A moment on the clock of a zone, as short as the present allows.</summary>
    Near,

    /// <summary>A moment on the clock of a zone, with its year.</summary>
    Full,

    /// <summary>How long ago a moment was.</summary>
    Ago,

    /// <summary>The clock of a demonstration.</summary>
    Clock,
}

/// <summary>A part of a sentence.</summary>
/// <param name="Text">What stands there; empty for a moment.</param>
/// <param name="As">What it is.</param>
/// <param name="Address">Where it leads; null for nowhere.</param>
/// <param name="At">Of a moment.</param>
/// <param name="Zone">In which a moment is read; null for how long ago.</param>
public readonly record struct Said(string Text, SaidAs As = SaidAs.Words, string? Address = null, DateTimeOffset At = default, TimeZoneInfo? Zone = null)
{
    // Characters that no text may hold stand for the parts while a sentence is put together.
    private const char FirstPlace = '\uFDD0', LastPlace = '\uFDEF';

    public static implicit operator Said(string text) => new(text);

    public static implicit operator PhraseValue(Said said) => new Place([said]);

    public static Said Name(string text, string? address = null) => new(text, SaidAs.Name, address);

    public static Said Sentence(string text, string? address = null) => new(text, SaidAs.Sentence, address);

    /// <summary>The word that stands beside the accent where a hand is needed.</summary>
    public static Said Hand => new(Words.Say("hand"), SaidAs.Word);

    public static Said Link(string key, string address) => new(Words.Say(key), Address: address);

    public static Said Near(DateTimeOffset at, TimeZoneInfo zone) => new("", SaidAs.Near, At: at, Zone: zone);

    public static Said Full(DateTimeOffset at, TimeZoneInfo zone) => new("", SaidAs.Full, At: at, Zone: zone);

    public static Said Ago(DateTimeOffset at) => new("", SaidAs.Ago, At: at);

    /// <summary>A text of the page's language with parts in its gaps: where each stands is the language's business.</summary>
    public static ImmutableArray<Said> Of(string key, params ReadOnlySpan<(string Name, PhraseValue Value)> arguments)
    {
        var (places, filled) = (new List<ImmutableArray<Said>>(), new (string, PhraseValue)[arguments.Length]);
        for (var i = 0; i < arguments.Length; i++)
        {
            filled[i] = arguments[i];
            if (arguments[i].Value is Place place)
            {
                filled[i].Item2 = Phrase.Literal(((char)(FirstPlace + places.Count)).ToString());
                places.Add(place.Parts);
            }
        }

        return Split(Words.Say(key, filled), places);
    }

    /// <summary>Several parts in one gap.</summary>
    public static PhraseValue All(IEnumerable<Said> parts) => new Place([.. parts]);

    /// <summary>One sentence after the other.</summary>
    public static ImmutableArray<Said> Both(ImmutableArray<Said> first, ImmutableArray<Said> second) => [.. first, " ", .. second];

    private static ImmutableArray<Said> Split(string text, List<ImmutableArray<Said>> places)
    {
        var (parts, from) = (ImmutableArray.CreateBuilder<Said>(), 0);
        for (var i = 0; i < text.Length; i++)
        {
            if (text[i] is >= FirstPlace and <= LastPlace)
            {
                Add(text[from..i]);
                parts.AddRange(text[i] - FirstPlace < places.Count ? places[text[i] - FirstPlace] : []);
                from = i + 1;
            }
        }

        Add(text[from..]);
        return parts.ToImmutable();

        void Add(string words)
        {
            if (words.Length > 0)
            {
                parts.Add(words);
            }
        }
    }

    private sealed record Place(ImmutableArray<Said> Parts) : PhraseValue;
}
