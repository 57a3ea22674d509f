using TankWatch.Core.Sites;

namespace TankWatch.Core.Supply;

/// <summary>How long the water in a tank lasts, for those who look at a site.</summary>
public static class Lasting
{
    /// <summary>Hours until an overhead tank is down to its fire reserve if no pump fills it.</summary>
    /// <param name="plan">What is installed.</param>
    /// <param name="state">As it is known.</param>
    /// <param name="tank">Index of the tank.</param>
    /// <param name="now">UTC.</param>
    /// <returns>
    /// Null for a sump, while a pump fills it or its unit's word is too old, before its use is learnt, and when it lasts longer than two weeks.
    /// </returns>
    public static Estimate? Of(SitePlan plan, SiteState state, int tank, DateTimeOffset now)
    {
        var timeline = state.Timeline;
        var isFilled = plan.Pumps.Any(pump => pump.To.Contains(tank) && timeline.Pumps[pump.Index].Running != false);
        return isFilled || !(timeline.TankKnownUntil(plan, tank) > now) ? null : Outlook.HoursToEmpty(timeline, plan, tank, 0, now);
    }
}
