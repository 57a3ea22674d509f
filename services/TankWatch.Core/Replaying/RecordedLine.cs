using System.Text.Json;
using TankWatch.Core.FieldMessages;

namespace TankWatch.Core.Replaying;

/// <summary>Where the members of one line of a recording stand: found in one pass. Of a member that stands twice, the last counts.</summary>
internal struct RecordedLine
{
    /// <summary>Type None for each that is absent; of a line that is no object, all are.</summary>
    public MemberValue Received, Topic;

    /// <summary>Of any type.</summary>
    public MemberValue Payload;

    /// <summary>The members of a payload that is one object, and not deeper than a message may be; read in the same pass.</summary>
    public MemberTable Members;

    /// <summary>Whether <see cref="Members"/> were read, and no name among them is broken Unicode.</summary>
    public bool HasMembers;

    /// <param name="utf8">One line.</param>
    /// <param name="line">Receives what stands in it.</param>
    /// <exception cref="JsonException">No JSON, or more than one value.</exception>
    /// <exception cref="InvalidOperationException">A name is no valid Unicode.</exception>
    public static void Read(ReadOnlySpan<byte> utf8, out RecordedLine line)
    {
        try
        {
            // As deep as a message may be, within the line: what is deeper is for the decoder to refuse.
            Read(utf8, FieldMessageDecoder.MaxDepth + 1, readsMembers: true, out line);
        }
        catch (JsonException)
        {
            Read(utf8, MaxDepth, readsMembers: false, out line);
        }
    }

    private const int MaxDepth = 32;

    private static void Read(ReadOnlySpan<byte> utf8, int maxDepth, bool readsMembers, out RecordedLine line)
    {
        var reader = new Utf8JsonReader(utf8, new JsonReaderOptions { MaxDepth = maxDepth });
        reader.Read();
        line = default;
        if (reader.TokenType == JsonTokenType.StartObject)
        {
            while (reader.Read() && reader.TokenType == JsonTokenType.PropertyName)
            {
                if (reader.ValueTextEquals("payload"u8))
                {
                    line.ReadPayload(ref reader, readsMembers);
                }
                else if (reader.ValueTextEquals("topic"u8))
                {
                    line.Topic = Next(ref reader);
                }
                else if (reader.ValueTextEquals("received"u8))
                {
                    line.Received = Next(ref reader);
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
    }

    private void ReadPayload(ref Utf8JsonReader reader, bool readsMembers)
    {
        reader.Read();
        var (type, isEscaped, from) = (reader.TokenType, reader.ValueIsEscaped, (int)reader.TokenStartIndex);
        HasMembers = readsMembers && type == JsonTokenType.StartObject && MemberTable.Read(ref reader, out Members);
        if (reader.TokenType != JsonTokenType.EndObject)
        {
            reader.Skip();
        }

        Payload = new(type, isEscaped, from, (int)reader.BytesConsumed - from);
    }

    private static MemberValue Next(ref Utf8JsonReader reader)
    {
        reader.Read();
        var (type, isEscaped, from) = (reader.TokenType, reader.ValueIsEscaped, (int)reader.TokenStartIndex);
        reader.Skip();
        return new(type, isEscaped, from, (int)reader.BytesConsumed - from);
    }
}
