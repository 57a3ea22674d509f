using System.Diagnostics;
using System.Globalization;
using TankWatch.Simulator.Trials;
using Xunit;

namespace TankWatch.Core.Tests.Trials;

/// <summary>What trials show, for people to read; each is run by name with <c>-explicit only</c>, as <c>tests/method.sh</c> does.</summary>
public sealed class TrialFigures
{
    private const ulong FirstSeed = 1000;

    private static readonly int Count = int.Parse(Environment.GetEnvironmentVariable("TRIALS") ?? "300", CultureInfo.InvariantCulture);

    /// <summary>Sorts take turns, so that any number of trials holds all of them alike.</summary>
    private static Trial Make(int index) => TrialMaker.Make(FirstSeed + (ulong)index, TrialMaker.Sorts[index % TrialMaker.Sorts.Length]);

    [Fact(Explicit = true)]
    public void Folders()
    {
        var folder = Environment.GetEnvironmentVariable("TRIALS_FOLDER") ?? throw new InvalidOperationException("TRIALS_FOLDER names no folder.");
        var began = Stopwatch.GetTimestamp();
        Parallel.For(0, Count, index =>
        {
            var trial = Make(index);
            TrialFolder.Write(trial, trial.Run(), Path.Combine(folder, trial.Name));
        });
        Console.Error.WriteLine($"{Count} trials written in {Stopwatch.GetElapsedTime(began).TotalSeconds:F1} s");
    }
}
