using System.Globalization;

namespace TankWatch.Simulator;

/// <summary>Writes simulated messages as a recording (JSON Lines).</summary>
public static class Recordings
{
    /// <summary>Writes one line a message, <c>received</c> being its arrival, in order of arrival; lines end in a line feed.</summary>
    /// <returns>Lines written.</returns>
    public static int Write(IEnumerable<SimulatedMessage> messages, TextWriter to)
    {
        ArgumentNullException.ThrowIfNull(messages);
        ArgumentNullException.ThrowIfNull(to);
        var lines = 0;
        foreach (var message in messages.OrderBy(m => m.ArrivesAt)) // A stable sort: what arrives together stays as sent.
        {
            to.Write(LineOf(message));
            to.Write('\n');
            lines++;
        }

        return lines;
    }

    /// <summary>One message as its line, without the line feed.</summary>
    public static string LineOf(SimulatedMessage message) => string.Create(
        CultureInfo.InvariantCulture,
        $"{{\"received\":\"{message.ArrivesAt.UtcDateTime:yyyy-MM-dd'T'HH:mm:ss.fff'Z'}\",\"topic\":\"{message.Topic}\",\"payload\":{message.PayloadJson}}}");
}
