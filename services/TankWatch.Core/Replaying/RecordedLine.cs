using System.Text.Json;
using TankWatch.Core.FieldMessages;

namespace TankWatch.Core.Replaying;

/// <summary>Where the members of one line of a recording stand: found in one pass. Of a member that stands twice, the last counts.</summary>
/// <param name="Received">Type None for each that is absent.</param>
/// <param name="Topic">Of a line that is no object, all are absent.</param>
/// <param name="Payload">Of any type.</param>
internal readonly record struct RecordedLine(MemberValue Received, MemberValue Topic, MemberValue Payload)
{
    /// <param name="utf8">One line.</param>
    /// <param name="maxDepth">Deeper is refused.</param>
    /// <exception cref="JsonException">No JSON, or more than one value.</exception>
    /// <exception cref="InvalidOperationException">A name is no valid Unicode.</exception>
    public static RecordedLine Read(ReadOnlySpan<byte> utf8, int maxDepth)
    {
        var reader = new Utf8JsonReader(utf8, new JsonReaderOptions { MaxDepth = maxDepth });
        reader.Read();
        var (received, topic, payload) = (default(MemberValue), default(MemberValue), default(MemberValue));
        if (reader.TokenType == JsonTokenType.StartObject)
        {
            while (reader.Read() && reader.TokenType == JsonTokenType.PropertyName)
            {
                if (reader.ValueTextEquals("payload"u8))
                {
                    payload = Next(ref reader);
                }
                else if (reader.ValueTextEquals("topic"u8))
                {
                    topic = Next(ref reader);
                }
                else if (reader.ValueTextEquals("received"u8))
                {
                    received = Next(ref reader);
                }
                else
                {
                    reader.Skip();
                }
            }
        }
        else
        {
            reader.Skip();
        }

        reader.Read(); // Nothing may stand behind it.
        return new(received, topic, payload);
    }

    private static MemberValue Next(ref Utf8JsonReader reader)
    {
        reader.Read();
        var (type, isEscaped, from) = (reader.TokenType, reader.ValueIsEscaped, (int)reader.TokenStartIndex);
        reader.Skip();
        return new(type, isEscaped, from, (int)reader.BytesConsumed - from);
    }
}
