namespace TankWatch.Service.Ingest;

/// <summary>What a broker handed over.</summary>
/// <param name="Topic">As published.</param>
/// <param name="Payload">Its own copy: the broker's buffers are reused.</param>
/// <param name="Retained">Kept by the broker from before and delivered to a new subscriber: no sign of life.</param>
/// <param name="ReceivedAt">UTC.</param>
public sealed record ReceivedMessage(string Topic, ReadOnlyMemory<byte> Payload, bool Retained, DateTimeOffset ReceivedAt);
