using System.ComponentModel;
using TankWatch.Service.Sites;

namespace TankWatch.Service.Api.Contract;

[Description("A field unit: what was heard of it, what is missing, and how its clock goes.")]
public sealed record UnitJson(
    string Unit, string Site,
    [property: Description("Last sign of life, by our clock; null if it never spoke.")] DateTimeOffset? HeardAt,
    [property: Description("The newest time that it reported.")] DateTimeOffset? NewestAt,
    [property: Description("As its last status said; null if it sent none.")] bool? Online,
    string? Firmware, double? SignalDbm, double? BatteryPercent,
    [property: Description("How far its clock is behind ours, transport included; null if unknown.")] double? ClockSkewSeconds,
    [property: Description("Sequence numbers skipped: messages that were sent and never arrived.")] long Missing,
    [property: Description("When this service noticed that some are missing, at its start if before; null while none is missing.")] DateTimeOffset? MissingSince,
    [property: Description("Share of the messages it sent, by its own count, that arrived; null while nothing was taken.")] double? Coverage,
    long Accepted,
    [property: Description("Messages that could not be read.")] long Refused,
    [property: Description("Messages that came again, since this service started.")] long Duplicates,
    [property: Description("An alert says that it is silent.")] bool Silent)
{
    public static UnitJson Of(UnitView u) => new(
        u.Id.Value, u.Site.Value, u.HeardAt, u.NewestAt, u.Online, u.Firmware, u.SignalDbm, u.BatteryPercent,
        u.ClockSkew is { } skew ? Math.Round(skew.TotalSeconds, 3) : null, u.Missing, u.MissingSince,
        u.Accepted > 0 ? Math.Round((double)u.Accepted / (u.Accepted + u.Missing), 4) : null, u.Accepted, u.Refused, u.Duplicates, u.Silent);
}

[Description("A message that could not be read. It is kept whole; a long one is cut here.")]
public sealed record RefusedJson(
    string Id, DateTimeOffset ReceivedAt, string Topic,
    [property: Description("A stored name, such as malformed-json.")] string Reason,
    string Detail,
    [property: Description("Of the message as it came, bytes.")] long Length,
    [property: Description("The first 4096 bytes as UTF-8; what is not UTF-8 is replaced.")] string Payload,
    [property: Description("The message is longer than what is shown; the route of the single message gives all that is kept.")] bool Cut);
