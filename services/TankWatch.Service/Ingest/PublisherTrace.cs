using System.Diagnostics;
using MQTTnet.Packets;

namespace TankWatch.Service.Ingest;

/// <summary>The span in which a publisher sent a message, if it says so.</summary>
internal static class PublisherTrace
{
    /// <summary>W3C Trace Context, 3.2.2, version 00: 2, 32, 16 and 2 hexadecimal digits with a hyphen between. [V]</summary>
    private const int Length = 55;

    /// <param name="properties">User properties of MQTT 5; null for none.</param>
    /// <returns>The first <c>traceparent</c>; null without one, and for one that is not well formed, whatever else it is.</returns>
    public static string? Of(List<MqttUserProperty>? properties)
    {
        if (properties is null)
        {
            return null; // Nearly every message.
        }

        var told = properties.Find(property => property.Name == "traceparent");
        return told?.ValueBuffer.Length == Length && told.ReadValueAsString() is { Length: Length } text && IsWellFormed(text) ? text : null;
    }

    /// <remarks>The library does not look at the hyphens.</remarks>
    private static bool IsWellFormed(string text) =>
        (text[2], text[35], text[52]) == ('-', '-', '-') && ActivityContext.TryParse(text, null, isRemote: true, out _);
}
