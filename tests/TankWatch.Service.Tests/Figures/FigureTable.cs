using System.Globalization;
using Xunit;

namespace TankWatch.Service.Tests.Figures;

/// <summary>Figures with their aims, as a table of docs/performance.md: appended to the file that FIGURES_FILE names, and shown.</summary>
internal static class FigureTable
{
    /// <summary>BENCH_RUNS: how often a figure is measured; its median counts.</summary>
    public static int Runs { get; } = Number("BENCH_RUNS", 5);

    public static int Number(string variable, int usual) =>
        int.TryParse(Environment.GetEnvironmentVariable(variable), NumberStyles.None, CultureInfo.InvariantCulture, out var set) && set > 0 ? set : usual;

    public static double Median(IEnumerable<double> values) => values.Order().ToList() is var sorted ? sorted[sorted.Count / 2] : 0;

    /// <summary>Measures <see cref="Runs"/> times.</summary>
    public static async Task<List<T>> RepeatAsync<T>(Func<Task<T>> measure)
    {
        var measured = new List<T>();
        while (measured.Count < Runs)
        {
            measured.Add(await measure());
        }

        return measured;
    }

    public static void Add(string what, FormattableString measured, string aim, bool met)
    {
        var line = $"| {what} | {measured.ToString(CultureInfo.InvariantCulture)} | {aim} | {(met ? "met" : "**missed**")} |";
        TestContext.Current.TestOutputHelper?.WriteLine(line);
        if (Environment.GetEnvironmentVariable("FIGURES_FILE") is { } file)
        {
            File.AppendAllText(file, line + "\n");
        }
    }
}
