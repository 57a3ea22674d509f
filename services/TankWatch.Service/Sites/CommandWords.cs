using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Texts;

namespace TankWatch.Service.Sites;

/// <summary>Why a command changed nothing, for the person who gave it: a clause, to be put into a sentence.</summary>
internal static class CommandWords
{
    public static Phrase WhyNot(AlertCommand command, Alert alert, DateTimeOffset now) => Phrase.Of(
        command switch
        {
            Shelve shelve when shelve.Until <= now => "refusal.past",
            Acknowledge => "refusal.acknowledge",
            Shelve => "refusal.shelve",
            Unshelve => "refusal.unshelve",
            TakeOutOfService => "refusal.out-of-service",
            ReturnToService => "refusal.return",
            Close => "refusal.close",
            _ => "refusal.nothing",
        },
        ("state", Phrase.Of($"alert-state.{AlertNames.Of(alert.State)}")));
}
