using TankWatch.Core.Time;

namespace TankWatch.Core.Findings;

public enum VerdictKind
{
    /// <summary>What is known does not tell: neither raises nor clears.</summary>
    Unknown,

    /// <summary>The condition holds.</summary>
    Holds,

    /// <summary>Between the thresholds: an open finding stays open, a closed one stays closed.</summary>
    Between,

    /// <summary>The condition does not hold.</summary>
    Clear,
}

/// <summary>A rule's answer at a moment.</summary>
/// <param name="Kind">The answer.</param>
/// <param name="Since">Since when the condition holds, as the evidence tells; null: since it was first seen to.</param>
/// <param name="AskAgainAt">When the answer may change though nothing is observed; null when only an observation can change it.</param>
public readonly record struct Verdict(VerdictKind Kind, DateTimeOffset? Since, DateTimeOffset? AskAgainAt)
{
    // Packed: a step asks every rule, and each answer is passed on by value.
    private readonly PackedTime since = Since, askAgainAt = AskAgainAt;

    public DateTimeOffset? Since { get => since; init => since = value; }
    public DateTimeOffset? AskAgainAt { get => askAgainAt; init => askAgainAt = value; }

    public static readonly Verdict Clear = new(VerdictKind.Clear, null, null);
    public static readonly Verdict Unknown = new(VerdictKind.Unknown, null, null);

    public static Verdict Holds(DateTimeOffset? since = null, DateTimeOffset? askAgainAt = null) => new(VerdictKind.Holds, since, askAgainAt);
    public static Verdict Between(DateTimeOffset? askAgainAt = null) => new(VerdictKind.Between, null, askAgainAt);
    public static Verdict ClearUntil(DateTimeOffset? askAgainAt) => new(VerdictKind.Clear, null, askAgainAt);
}
