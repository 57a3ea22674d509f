namespace TankWatch.Service.Ingest;

/// <summary>What a broker handed over.</summary>
/// <param name="Topic">As published.</param>
/// <param name="Payload">Its own copy: the broker's buffers are reused.</param>
/// <param name="Retained">Kept by the broker from before and delivered to a new subscriber: no sign of life.</param>
/// <param name="ReceivedAt">UTC.</param>
/// <param name="Trace">The publisher's span, as <see cref="PublisherTrace"/> gives it; null for none.</param>
public sealed record ReceivedMessage(string Topic, ReadOnlyMemory<byte> Payload, bool Retained, DateTimeOffset ReceivedAt, string? Trace = null);

/// <summary>
/// What the sender of a message wants to know of it. Exactly one of the two is called, once, by the keeper of the sites, in order of
/// receipt. Both are called between batches: they must be cheap, and never throw or block.
/// </summary>
public interface IReceipt
{
    /// <summary>The message is on disk: it may be acknowledged.</summary>
    void Durable();

    /// <summary>The service goes down and the message is not on disk: it must not be acknowledged, so that it comes again.</summary>
    void Abandoned();
}
