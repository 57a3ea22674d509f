using System.Collections.Immutable;

namespace TankWatch.Core.Balance;

/// <summary>What may have changed in the way of the water. Stored by number: add, never reorder.</summary>
internal enum Change { Leak, GrowingLeak, BackDrain, Use, EveningHabit, NightHabit, DawnHabit, Delivery, Decline }

/// <summary>What is taken for granted of a change before anything was seen.</summary>
/// <param name="PerYear">How often it happens to a site. Common practice, no source.</param>
/// <param name="Share">Its usual size: of the mean use for outflows (a growing leak: in a day), else relative (a decline: in a day).</param>
/// <param name="Sign">1 or -1 when it goes one way only, 0 when either.</param>
internal readonly record struct Habitual(double PerYear, double Share, int Sign);

internal static class Changes
{
    public const int Count = 9;

    /// <summary>Those before it disturb every unknown; it and those after it only the levels and deliveries.</summary>
    public const Change FirstOfDelivery = Change.Delivery;

    private static readonly ImmutableArray<Habitual> Known =
    [
        new(1.0, 0.4, 1), new(0.15, 0.06, 1), new(0.1, 0.4, 1), new(8, 0.4, 0), new(0.1, 1.5, 1), new(0.1, 1.5, 1), new(0.1, 1.5, 1),
        new(0.5, 0.25, 0), new(0.4, 0.003, -1),
    ];

    public static Habitual Of(Change change) => Known[(int)change];

    /// <summary>First hour of the day of a habit that lasts three.</summary>
    public static int FirstHour(Change habit) => habit switch
    {
        Change.EveningHabit => 21,
        Change.NightHabit => 0,
        Change.DawnHabit => 3,
        _ => throw new ArgumentOutOfRangeException(nameof(habit), habit, "no habit"),
    };

    public static bool IsHabit(Change change) => change is Change.EveningHabit or Change.NightHabit or Change.DawnHabit;

    public static bool IsOutflow(Change change) => change is Change.Leak or Change.GrowingLeak or Change.BackDrain;
}
