using System.Globalization;
using System.Text.Json;
using System.Text.Json.Serialization;
using TankWatch.Core.Texts;

namespace TankWatch.Service.Storage;

/// <summary>
/// How a phrase stands in the store: <c>["leak.summary","tank","roof","rate",61]</c>, an argument's name before its value. A name is a string, a figure a
/// number, a phrase within a phrase an array; a moment, a time of day and a list are objects of one member. A string in the place of a phrase are words
/// to repeat: versions before there were phrases wrote all of them so.
/// </summary>
internal sealed class PhraseConverter : JsonConverter<Phrase>
{
    private const string Moment = "at", Clock = "clock", MomentFormat = "yyyy-MM-dd'T'HH:mmzzz";

    public override Phrase Read(ref Utf8JsonReader reader, Type typeToConvert, JsonSerializerOptions options)
    {
        using var json = JsonDocument.ParseValue(ref reader);
        return json.RootElement.ValueKind == JsonValueKind.String ? Phrase.Literal(json.RootElement.GetString()!) : PhraseOf(json.RootElement);
    }

    public override void Write(Utf8JsonWriter writer, Phrase value, JsonSerializerOptions options)
    {
        if (value.AsLiteral is { } words)
        {
            writer.WriteStringValue(words);
        }
        else
        {
            Write(writer, value);
        }
    }

    private static void Write(Utf8JsonWriter writer, Phrase phrase)
    {
        writer.WriteStartArray();
        writer.WriteStringValue(phrase.Key);
        foreach (var argument in phrase.Arguments)
        {
            writer.WriteStringValue(argument.Name);
            Write(writer, argument.Value);
        }

        writer.WriteEndArray();
    }

    private static void Write(Utf8JsonWriter writer, PhraseValue value)
    {
        switch (value)
        {
            case PhraseName name:
                writer.WriteStringValue(name.Name);
                break;
            case PhraseNumber number:
                writer.WriteNumberValue(number.Value);
                break;
            case PhraseMoment moment:
                writer.WriteStartObject();
                writer.WriteString(Moment, moment.At.ToString(MomentFormat, CultureInfo.InvariantCulture));
                writer.WriteEndObject();
                break;
            case PhraseClock clock:
                writer.WriteStartObject();
                writer.WriteNumber(Clock, clock.Minute);
                writer.WriteEndObject();
                break;
            case PhraseList list:
                writer.WriteStartObject();
                writer.WriteStartArray(NameOf(list.Style));
                foreach (var item in list.Items)
                {
                    Write(writer, item);
                }

                writer.WriteEndArray();
                writer.WriteEndObject();
                break;
            case Phrase phrase:
                Write(writer, phrase);
                break;
            default:
                throw new ArgumentException($"no JSON stands for a {value.GetType().Name}", nameof(value));
        }
    }

    private static Phrase PhraseOf(JsonElement json)
    {
        if (json.ValueKind != JsonValueKind.Array || json.GetArrayLength() % 2 == 0)
        {
            throw new JsonException("a phrase is a key, and names with their values");
        }

        var arguments = new PhraseArgument[json.GetArrayLength() / 2];
        for (var i = 0; i < arguments.Length; i++)
        {
            arguments[i] = new(Text(json[(2 * i) + 1]), ValueOf(json[(2 * i) + 2]));
        }

        return new(Text(json[0]), [.. arguments]);
    }

    private static PhraseValue ValueOf(JsonElement json) => json.ValueKind switch
    {
        JsonValueKind.String => new PhraseName(json.GetString()!),
        JsonValueKind.Number => new PhraseNumber(json.GetDouble()),
        JsonValueKind.Array => PhraseOf(json),
        JsonValueKind.Object when json.EnumerateObject().ToList() is [var only] => OfMember(only),
        _ => throw new JsonException($"a phrase holds no {json.ValueKind}"),
    };

    private static PhraseValue OfMember(JsonProperty member) => member.Name switch
    {
        Moment when DateTimeOffset.TryParseExact(member.Value.GetString(), MomentFormat, CultureInfo.InvariantCulture, DateTimeStyles.None, out var at) => new PhraseMoment(at),
        Clock => new PhraseClock(member.Value.GetInt32()),
        var name => new PhraseList(StyleOf(name), [.. member.Value.EnumerateArray().Select(ValueOf)]),
    };

    private static string Text(JsonElement json) =>
        json.ValueKind == JsonValueKind.String ? json.GetString()! : throw new JsonException("a phrase's key and names are text");

    private static string NameOf(ListStyle style) => style switch
    {
        ListStyle.And => "and",
        ListStyle.Or => "or",
        ListStyle.Comma => "comma",
        ListStyle.Sentences => "sentences",
        _ => throw new ArgumentOutOfRangeException(nameof(style)),
    };

    private static ListStyle StyleOf(string name) =>
        Enum.TryParse<ListStyle>(name, ignoreCase: true, out var style) ? style : throw new JsonException($"a phrase holds no list of the style {name}");
}
