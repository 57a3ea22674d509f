using TankWatch.Core;

namespace TankWatch.Simulator;

/// <summary>A field message on its way to the broker.</summary>
/// <param name="SentAt">True time at which the unit made it (of a backlog's array, its newest member), whatever its clock says.</param>
/// <param name="ArrivesAt">True time at which the broker has it; not before <paramref name="SentAt"/>.</param>
/// <param name="Unit">The field unit.</param>
/// <param name="Kind">Last level of the topic: <c>level</c>, <c>pump</c>, <c>inlet</c>, <c>supply</c> or <c>status</c>.</param>
/// <param name="PayloadJson">One JSON object, or an array of them.</param>
/// <param name="Retained">The broker keeps it for later subscribers.</param>
public sealed record SimulatedMessage(
    DateTimeOffset SentAt, DateTimeOffset ArrivesAt, UnitId Unit, string Kind, string PayloadJson, bool Retained)
{
    public string Topic => $"tankwatch/v1/{Unit.Value}/{Kind}";
}
