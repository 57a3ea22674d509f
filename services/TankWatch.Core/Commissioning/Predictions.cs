using System.Collections.Immutable;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Commissioning;

/// <summary>What an installation should do, from its site file alone: told before the first message, and what the first fills are held against.</summary>
public static class Predictions
{
    /// <summary>
    /// Pumps first, then tanks, then the building, each in the order of the site file. What would need a figure that the file does not give is left out.
    /// </summary>
    public static ImmutableArray<Prediction> Of(SitePlan plan)
    {
        IEnumerable<Prediction?> all =
        [
            .. plan.Pumps.SelectMany(pump => PumpPredictions.Of(plan, pump)),
            .. plan.Tanks.SelectMany(tank => TankPredictions.Of(plan, tank)),
            .. BuildingPredictions.Of(plan),
        ];
        return [.. all.OfType<Prediction>().Where(IsCredible)];
    }

    /// <summary>A site file may state numbers whose ratio is beyond any number.</summary>
    private static bool IsCredible(Prediction prediction) =>
        prediction.Size is not { } size || (double.IsFinite(size.Low) && double.IsFinite(size.Value) && double.IsFinite(size.High));
}
