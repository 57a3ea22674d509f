using TankWatch.Core;
using TankWatch.Core.Alerts;

namespace TankWatch.Service.Sites;

/// <summary>Why a command changed nothing, for the person who gave it.</summary>
internal static class CommandWords
{
    public static string WhyNot(AlertCommand command, Alert alert, DateTimeOffset now) => command switch
    {
        Shelve shelve when shelve.Until <= now => "an alert is shelved until a time to come, and this one is past",
        Acknowledge => $"an alert that is {State(alert)} takes no acknowledgement",
        Shelve => $"an alert that is {State(alert)} is not shelved",
        Unshelve => $"the alert is not shelved: it is {State(alert)}",
        TakeOutOfService => $"an alert that is {State(alert)} is not taken out of service",
        ReturnToService => $"the alert is not out of service: it is {State(alert)}",
        Close => $"the alert is closed already: it is {State(alert)}",
        _ => $"the alert is {State(alert)}: nothing was changed",
    };

    private static string State(Alert alert) => AlertNames.Of(alert.State);
}
