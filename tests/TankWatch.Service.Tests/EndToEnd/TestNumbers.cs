using System.Globalization;

namespace TankWatch.Service.Tests.EndToEnd;

/// <summary>How long the long tests are: short in every run, long at night.</summary>
internal static class TestNumbers
{
    /// <summary>Sudden deaths, over all ways of connecting.</summary>
    public static int Kills { get; } = Read("TANKWATCH_TEST_KILLS", 50);

    /// <summary>For how long another process keeps the store to itself.</summary>
    public static int StallSeconds { get; } = Read("TANKWATCH_TEST_STALL_SECONDS", 30);

    /// <summary>Chooses the moments of the deaths; printed, to be given again.</summary>
    public static int KillSeed { get; } = Read("TANKWATCH_TEST_KILL_SEED", Random.Shared.Next());

    private static int Read(string variable, int usual) =>
        int.TryParse(Environment.GetEnvironmentVariable(variable), NumberStyles.None, CultureInfo.InvariantCulture, out var given) ? given : usual;
}
