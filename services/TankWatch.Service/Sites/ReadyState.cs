namespace TankWatch.Service.Sites;

/// <summary>What must work for the service to do its work.</summary>
public enum Stage { Store, Broker, Mail, Sites, Path }

/// <param name="Name">store, broker, mail, sites or path: the whole way of a message of the service's own.</param>
/// <param name="Ok">It works.</param>
/// <param name="Essential">Without it the service is not ready. Mail is not: what cannot be sent now waits in the outbox.
/// Nor is a site that cannot be judged, once all of them have been read: the others go on.</param>
/// <param name="Reason">Why not, in one line; null when it works.</param>
public sealed record StageState(string Name, bool Ok, bool Essential, string? Reason);

/// <summary>Whether the service is ready, and if not, why. Any thread may set and read it.</summary>
/// <param name="watchesItself">A message of its own goes the whole way every minute.</param>
public sealed class ReadyState(bool watchesItself = true)
{
    private const string NotStarted = "not started yet";

    private readonly Lock changing = new();
    private readonly Dictionary<Stage, string?> reasons =
        Enum.GetValues<Stage>().Where(stage => watchesItself || stage != Stage.Path).ToDictionary(stage => stage, _ => (string?)NotStarted);

    public bool IsReady => Stages.All(stage => stage.Ok || !stage.Essential);

    public IReadOnlyList<StageState> Stages
    {
        get
        {
            lock (changing)
            {
                return [.. reasons.OrderBy(pair => pair.Key).Select(pair => new StageState(
                    pair.Key.ToString().ToLowerInvariant(), pair.Value is null, pair.Key is Stage.Store or Stage.Broker || (pair.Key is Stage.Sites && pair.Value == NotStarted), pair.Value))];
            }
        }
    }

    /// <param name="stage">Which.</param>
    /// <param name="reason">Why it does not work, in one line; null when it does.</param>
    public void Set(Stage stage, string? reason)
    {
        lock (changing)
        {
            reasons[stage] = reason;
        }
    }
}
