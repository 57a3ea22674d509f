using System.Net.Sockets;
using MQTTnet.Exceptions;

namespace TankWatch.Service.Ingest;

/// <summary>What a request to a broker throws when the connection cannot be made, or ends under it.</summary>
internal static class ConnectionFault
{
    /// <remarks>
    /// The client library takes its connection apart while a request may still be at it: that request meets a null reference or
    /// something disposed of (seen when a broker is killed between a message and its acknowledgement).
    /// </remarks>
    public static bool Is(Exception fault) => fault is MqttCommunicationException or MqttProtocolViolationException
        or IOException or SocketException or TimeoutException or OperationCanceledException
        or InvalidOperationException or NullReferenceException;
}
