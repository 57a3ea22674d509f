using System.Text;
using TankWatch.Core.FieldMessages;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Simulator;
using TankWatch.Simulator.Faults;

namespace TankWatch.Core.Tests.Simulator;

/// <summary>Simulated sites as the judgement sees them: their observations, in order.</summary>
internal static class SimulatedRecord
{
    /// <summary>A building of the estate, its history and its live script, up to some days after its demonstration began.</summary>
    public static List<Observation> Of(EstateBuilding building, SitePlan plan, ulong seed, TimeSpan history, TimeSpan watched) =>
        Decode(plan, building.Begin(plan, seed, TestSites.Start + history, history), TestSites.Start + history + watched);

    /// <summary>A plain site with one fault in it.</summary>
    public static List<Observation> Of(SitePlan plan, ulong seed, FaultKind fault, TimeSpan time)
    {
        var options = TestSites.Seeded(seed) with { PublicSupplyLitresPerMinute = fault is FaultKind.EarlyRestart or FaultKind.NoStopAtCutOut ? 1 : null };
        return Decode(plan, new(plan, options, [new Fault(fault, null, TestSites.Start.AddHours(20), TestSites.Start + (time * 0.8))]), TestSites.Start + time);
    }

    private static List<Observation> Decode(SitePlan plan, SimulatedSite site, DateTimeOffset to)
    {
        var seen = new Dictionary<MessageIdentity, Observation>();
        foreach (var message in site.Advance(to))
        {
            var kind = FieldMessageDecoder.TryReadTopic(message.Topic, out _, out var read, out _) ? read : throw new InvalidOperationException(message.Topic);
            foreach (var accepted in FieldMessageDecoder
                .Decode(plan, plan.FindUnit(message.Unit)!, kind, Encoding.UTF8.GetBytes(message.PayloadJson), message.ArrivesAt).OfType<Decoded.Accepted>())
            {
                seen.TryAdd(accepted.Identity, accepted.Seen);
            }
        }

        return [.. seen.Values.Order(Observation.Order)];
    }
}
