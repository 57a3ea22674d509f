using System.Diagnostics;
using System.Globalization;
using TankWatch.Core.Findings;
using TankWatch.Simulator.Trials;
using Xunit;

namespace TankWatch.Core.Tests.Trials;

/// <summary>What trials show, for people to read; each is run by name with <c>-explicit only</c>, as <c>tests/method.sh</c> does.</summary>
public sealed class TrialFigures
{
    // The estimator may be tuned on the folders: what it is judged by must be others.
    private const ulong FirstFolder = 1;
    private const ulong FirstJudged = 10_000;

    private static readonly int Count = (int)Number("TRIALS", 300);

    // What is asked most of comes oftener: leaks, for the smallest that is found.
    private static readonly TrialSort[] Turns =
    [
        .. Enum.GetValues<TrialSort>(), TrialSort.Leak, TrialSort.Leak, TrialSort.Leak, TrialSort.BackDrain, TrialSort.WeakPump, TrialSort.Healthy,
    ];

    /// <summary>Sorts take turns, so that any number of trials holds all of them.</summary>
    private static Trial Make(ulong seed) => TrialMaker.Make(seed, Turns[(int)(seed % (ulong)Turns.Length)]);

    private static ulong Number(string variable, ulong otherwise) =>
        Environment.GetEnvironmentVariable(variable) is { Length: > 0 } text ? ulong.Parse(text, CultureInfo.InvariantCulture) : otherwise;

    [Fact(Explicit = true)]
    public void Tables()
    {
        var (began, first) = (Stopwatch.GetTimestamp(), Number("TRIALS_SEED", FirstJudged));
        var scores = new TrialScore[Count];
        Parallel.For(0, Count, index => scores[index] = TrialScore.Of(Make(first + (ulong)index)));
        var seconds = Stopwatch.GetElapsedTime(began).TotalSeconds;
        Console.Error.WriteLine(string.Create(CultureInfo.InvariantCulture, $"{Count} trials in {seconds:F1} s, {Count / seconds:F1} a second"));
        foreach (var score in scores)
        {
            Tell(score);
        }

        var text = new TrialTables(scores).Write();
        if (Environment.GetEnvironmentVariable("FIGURES_FILE") is { } file)
        {
            File.WriteAllText(file, text);
        }
        else
        {
            TestContext.Current.TestOutputHelper!.WriteLine(text);
        }
    }

    /// <summary>What to look at: each trial is written as a folder by its number.</summary>
    private static void Tell(TrialScore score)
    {
        foreach (var missed in score.Faults.Where(f => f.Delay is null))
        {
            Console.Error.WriteLine(string.Create(CultureInfo.InvariantCulture, $"{score.Trial.Name}: missed {missed.Event.Label} of {missed.Event.Size} {missed.Event.Unit}"));
        }

        foreach (var alarm in score.FalseAlarms)
        {
            Console.Error.WriteLine(string.Create(CultureInfo.InvariantCulture, $"{score.Trial.Name}: false {FindingNames.Of(alarm.Kind)} of {alarm.Device} at {alarm.RaisedAt:u}"));
        }
    }

    [Fact(Explicit = true)]
    public void Folders()
    {
        var folder = Environment.GetEnvironmentVariable("TRIALS_FOLDER") ?? throw new InvalidOperationException("TRIALS_FOLDER names no folder.");
        var (began, first) = (Stopwatch.GetTimestamp(), Number("TRIALS_SEED", FirstFolder));
        Parallel.For(0, Count, index =>
        {
            var trial = Make(first + (ulong)index);
            TrialFolder.Write(trial, trial.Run(), Path.Combine(folder, trial.Name));
        });
        Console.Error.WriteLine($"{Count} trials written in {Stopwatch.GetElapsedTime(began).TotalSeconds:F1} s");
    }
}
