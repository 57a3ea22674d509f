using System.Collections.Immutable;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;

namespace TankWatch.Core.Alerts.Load;

/// <summary>Where alerts come from: the same device and kind is the same source, however many alerts it makes.</summary>
public readonly record struct AlertSource(SiteId Site, DeviceId Device, FindingKind Kind);

/// <summary>That people were told that an alert holds, once: the unit in which the load of alerts is counted.</summary>
/// <param name="Alert">The alert's id.</param>
/// <param name="Number">Of the alert's event, which names the letters that went out; see <see cref="Notice.Number"/>.</param>
/// <param name="Source">Where it came from.</param>
/// <param name="Priority">As it was told; that of a graver consequence, where one hung under it.</param>
/// <param name="At">When people were told, wall clock, UTC.</param>
/// <param name="ActiveFrom">When the condition was raised, UTC; may be long before people were told.</param>
/// <param name="ActiveUntil">When it ceased, was closed or put aside by hand, or was explained by another alert; null while it stands.</param>
/// <param name="IsPassedOn">Nobody acknowledged it, and the next people were told: news to them, and to nobody else.</param>
public sealed record Annunciation(
    string Alert, int Number, AlertSource Source, Priority Priority, DateTimeOffset At, DateTimeOffset ActiveFrom, DateTimeOffset? ActiveUntil,
    bool IsPassedOn = false)
{
    /// <summary>What one alert's life has told people, in order.</summary>
    /// <param name="events">All events of one alert, oldest first, with their numbers; those that neither tell nor change what holds may be missing.</param>
    public static ImmutableArray<Annunciation> Of(IEnumerable<(int Number, AlertEvent Event)> events)
    {
        var told = ImmutableArray.CreateBuilder<Annunciation>();
        var episode = default(Episode);
        var firstOfEpisode = 0;
        foreach (var (number, happened) in events)
        {
            if (happened is AlertReraised or AlertUnshelved or AlertReturnedToService or AlertReleased)
            {
                firstOfEpisode = told.Count; // What was told before has had its end.
            }

            episode = episode.After(happened);
            if (happened is AlertNotified { Reason: not NotifyReason.Cleared } notice && episode.Finding is { } finding)
            {
                told.Add(new(
                    happened.AlertId, number, new(episode.Site, finding.Device, finding.Kind), notice.Gravest ?? finding.Priority, happened.At,
                    finding.RaisedAt, episode.Until, notice.Reason == NotifyReason.Escalated));
            }

            for (var i = firstOfEpisode; i < told.Count; i++)
            {
                told[i] = told[i] with { ActiveFrom = episode.Finding!.RaisedAt, ActiveUntil = episode.Until };
            }
        }

        return told.ToImmutable();
    }

    /// <summary>One stretch of the condition.</summary>
    /// <param name="Site">Whose.</param>
    /// <param name="Finding">As known so far; null before the alert was raised.</param>
    /// <param name="PutAway">When it was closed, put aside or explained.</param>
    private readonly record struct Episode(SiteId Site, Finding? Finding, DateTimeOffset? PutAway)
    {
        public DateTimeOffset? Until => Time.Moments.Earlier(Finding?.ClearedAt, PutAway);

        public Episode After(AlertEvent happened) => happened switch
        {
            AlertRaised e => new(e.Site, e.Finding, null),
            AlertReraised e => new(Site, e.Finding, null),
            AlertReturned e => this with { Finding = e.Finding },
            AlertCorrected e => this with { Finding = e.Finding },
            AlertReworded e => this with { Finding = e.Finding },
            AlertClosed or AlertShelved or AlertTakenOutOfService or AlertSuppressed => this with { PutAway = PutAway ?? happened.At },
            AlertUnshelved or AlertReturnedToService or AlertReleased => this with { PutAway = null },
            _ => this,
        };
    }
}
