using System.Globalization;
using System.Text;
using TankWatch.Core.Findings;
using TankWatch.Simulator.Trials;

namespace TankWatch.Core.Tests.Trials;

/// <summary>What many trials show, as tables and curves of text.</summary>
internal sealed class TrialTables(IReadOnlyList<TrialScore> scores)
{
    private const double DaysOfYear = 365.25;
    private const int BarWidth = 20;
    private static readonly TimeSpan Fortnight = TimeSpan.FromDays(14);

    private static readonly (string Name, int From, int To)[] Buildings =
        [("4 to 15", 4, 16), ("16 to 45", 16, 46), ("46 to 110", 46, 111), ("111 to 200", 111, 201)];

    private readonly StringBuilder _text = new();

    public string Write()
    {
        Found();
        FalseAlarms();
        Figures();
        Calibration();
        SmallestLeak();
        Delays();
        return _text.ToString();
    }

    private void Found()
    {
        Table("What was found", "", "done | trials | found with the right kind | 95 % interval | median delay | slowest of ten");
        foreach (var group in scores.SelectMany(s => s.Faults).GroupBy(f => f.Event.Label, StringComparer.Ordinal).OrderBy(g => g.Key, StringComparer.Ordinal))
        {
            Row($"{Words(group.Key)} | {group.Count()} | {Share(group.Count(f => f.Delay is not null), group.Count())} | {Delay(group)}");
        }
    }

    private void FalseAlarms()
    {
        Table(
            "False alarms", "Any finding but `heavy-use` that nothing explains, with the 95 % interval of its rate.",
            "done | site-years | false alarms | a site-year | of kind");
        foreach (var group in scores.GroupBy(s => s.Trial.Sort).OrderBy(g => g.Key))
        {
            FalseAlarms(Words(group.Key.ToString()), group);
        }

        FalseAlarms("**all**", scores);
    }

    private void FalseAlarms(string name, IEnumerable<TrialScore> group)
    {
        var years = group.Sum(s => s.Trial.Days) / DaysOfYear;
        var alarms = group.SelectMany(s => s.FalseAlarms).ToList();
        var (low, high) = Intervals.Poisson(alarms.Count);
        var kinds = alarms.GroupBy(f => f.Kind).OrderByDescending(g => g.Count()).Select(g => $"{FindingNames.Of(g.Key)} {g.Count()}");
        Row($"{name} | {years:0.0} | {alarms.Count} | {alarms.Count / years:0.00} ({low / years:0.00} to {high / years:0.00}) | {string.Join(", ", kinds)}");
    }

    private void Figures()
    {
        Table("Figures of the days", "Intervals are made to hold nine truths in ten.", "figure | days | median error | share of truths inside");
        Figure("delivery, L/min", s => s.Delivery);
        Figure("use, L/day", s => s.Use);
        Figure("leak of the last week, L/h", s => s.Leak);
        var volumes = scores.SelectMany(s => s.VolumeErrors).ToList();
        Row($"delivered, L/day | {volumes.Count} | {Quantile(volumes, 0.5):0.00} % | ");
        Row($"starts | | {scores.Sum(s => s.StartsWrong)} wrong | ");
    }

    private void Figure(string name, Func<TrialScore, IEnumerable<FigureScore>> of)
    {
        var figures = scores.SelectMany(of).ToList();
        if (figures.Count == 0)
        {
            Row($"{name} | 0 | | ");
            return;
        }

        Row($"{name} | {figures.Count} | {Quantile(figures.Select(f => f.Error), 0.5):0.00} % | {figures.Average(f => f.Within is { } within ? (within ? 1.0 : 0) : null):0.000}");
    }

    private void Calibration()
    {
        var undetermined = scores.Sum(s => s.Undetermined);
        var causes = scores.SelectMany(s => s.Causes).ToList();
        var wrong = causes.Where(c => !c.True).GroupBy(c => c.Name, StringComparer.Ordinal).OrderByDescending(g => g.Count()).Select(g => $"`{g.Key}` {g.Count()}");
        Table(
            "Probability said against how often it was so",
            Invariant($"The leading cause of every finding that weighs causes; {undetermined} more findings said that they cannot tell. Not so: {string.Join(", ", wrong.DefaultIfEmpty("none"))}."),
            "said | findings | mean said | was so | 95 % interval | curve");
        double[] bounds = [0, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 1.01];
        foreach (var (from, to) in bounds.Zip(bounds.Skip(1)))
        {
            var bin = causes.Where(c => c.Said >= from && c.Said < to).ToList();
            var right = bin.Count(c => c.True);
            var mean = bin.Count == 0 ? "" : Invariant($"{bin.Average(c => c.Said):0.00}");
            Row($"{from:0.00} to {Math.Min(1, to):0.00} | {bin.Count} | {mean} | {Share(right, bin.Count)} | {Bar(right, bin.Count)}");
        }
    }

    /// <summary>Leaks that begin at once, and whether they were found within a fortnight.</summary>
    private void SmallestLeak()
    {
        var leaks = scores.Where(s => s.Trial.Sort is TrialSort.Leak or TrialSort.GuestsThenLeak)
            .SelectMany(s => s.Faults.Select(f => (s.Trial, Fault: f, Relative: f.Event.Size!.Value / (s.Trial.MeanDemand / 24), Found: f.Delay <= Fortnight))).ToList();
        Table(
            "Smallest leak found within 14 days", "Where a logistic curve through the trials passes 50 % and 90 %; a leak in percent of the mean hourly use.",
            "residents | leaks | found | half are found from | nine in ten from");
        foreach (var (name, from, to) in Buildings)
        {
            var group = leaks.Where(l => l.Trial.Plan.Residents >= from && l.Trial.Plan.Residents < to).ToList();
            var curve = DetectionCurve.Through(group.Select(l => (l.Relative, l.Found)));
            var usual = group.Count == 0 ? 0 : Quantile(group.Select(l => l.Trial.MeanDemand / 24), 0.5);
            Row($"{name} | {group.Count} | {group.Count(l => l.Found)} | {Leak(curve?.SizeAt(0.5), usual)} | {Leak(curve?.SizeAt(0.9), usual)}");
        }

        Table(
            "Leaks found within 14 days, by size", "Found of tried, by the number of residents.",
            $"percent of mean hourly use | {string.Join(" | ", Buildings.Select(b => b.Name))} | all | found | 95 % interval | curve");
        foreach (var (from, to) in Neighbours(0.12, 0.16, 0.2, 0.25, 0.32, 0.45, 0.65, 0.91))
        {
            var bin = leaks.Where(l => l.Relative >= from && l.Relative < to).ToList();
            var found = bin.Count(l => l.Found);
            var each = Buildings.Select(b => bin.Where(l => l.Trial.Plan.Residents >= b.From && l.Trial.Plan.Residents < b.To).ToList());
            var cells = string.Join(" | ", each.Select(g => g.Count == 0 ? "" : Invariant($"{g.Count(l => l.Found)} of {g.Count}")));
            Row($"{100 * from:0} to {100 * to:0} | {cells} | {bin.Count} | {Share(found, bin.Count)} | {Bar(found, bin.Count)}");
        }
    }

    private void Delays()
    {
        Table("Delay by size", "Leaks and back-drain in percent of the mean hourly use.", "done | size | trials | found | 95 % interval | median delay | slowest of ten");
        Delays("leak", s => s.Trial.Sort is TrialSort.Leak, "%", (s, e) => 100 * e.Size!.Value / (s.Trial.MeanDemand / 24), 12, 18, 25, 35, 60, 91);
        Delays("backdrain", _ => true, "%", (s, e) => 100 * e.Size!.Value / (s.Trial.MeanDemand / 24), 15, 25, 35, 60, 91);
        Delays("weak_pump", _ => true, "% lost", (_, e) => 100 * e.Size!.Value, 10, 14, 18, 25, 41);
        Delays("riser_restriction", _ => true, "% lost", (_, e) => 100 * e.Size!.Value, 10, 14, 18, 25, 41);
        Delays("pump_decline", _ => true, "% lost a week", (_, e) => 100 * e.Size!.Value, 2, 3, 4, 5.1);
    }

    private void Delays(string label, Func<TrialScore, bool> where, string unit, Func<TrialScore, TrialEvent, double> size, params double[] bounds)
    {
        var faults = scores.Where(where).SelectMany(s => s.Faults.Where(f => f.Event.Label == label).Select(f => (Size: size(s, f.Event), Fault: f))).ToList();
        foreach (var (from, to) in Neighbours(bounds))
        {
            var bin = faults.Where(f => f.Size >= from && f.Size < to).Select(f => f.Fault).ToList();
            Row($"{Words(label)} | {from:0} to {to:0} {unit} | {bin.Count} | {Share(bin.Count(f => f.Delay is not null), bin.Count)} | {Delay(bin)}");
        }
    }

    private static IEnumerable<(double From, double To)> Neighbours(params double[] bounds) => bounds.Zip(bounds.Skip(1));

    private static string Delay(IEnumerable<FaultScore> faults)
    {
        var days = faults.Select(f => f.Delay?.TotalDays).OfType<double>().ToList();
        return days.Count == 0 ? " | " : Invariant($"{Quantile(days, 0.5):0.0} d | {Quantile(days, 0.9):0.0} d");
    }

    private static string Share(int hits, int count)
    {
        if (count == 0)
        {
            return " | ";
        }

        var (low, high) = Intervals.Wilson(hits, count);
        return Invariant($"{hits / (double)count:0.00} | {low:0.00} to {high:0.00}");
    }

    /// <summary>Its interval as a line, with a dot for the share.</summary>
    private static string Bar(int hits, int count)
    {
        if (count == 0)
        {
            return "";
        }

        var (low, high) = Intervals.Wilson(hits, count);
        var (first, last, at) = ((int)(low * BarWidth), (int)(high * BarWidth), (int)(hits * BarWidth / (double)count));
        return $"`{string.Concat(Enumerable.Range(0, BarWidth + 1).Select(i => i == at ? '●' : i >= first && i <= last ? '─' : '·'))}`";
    }

    private static string Leak(double? relative, double usual) => relative is { } size ? Invariant($"{100 * size:0} % ({size * usual:0} L/h)") : "beyond the trials";

    private static double Quantile(IEnumerable<double> values, double share)
    {
        var sorted = values.Order().ToList();
        return sorted.Count == 0 ? double.NaN : sorted[Math.Min(sorted.Count - 1, (int)(share * sorted.Count))];
    }

    private static string Words(string name) =>
        string.Concat(name.Select((c, i) => c == '_' ? " " : char.IsUpper(c) ? (i == 0 ? "" : " ") + char.ToLowerInvariant(c) : c.ToString()));

    private void Table(string title, string text, string columns)
    {
        _text.Append(CultureInfo.InvariantCulture, $"\n### {title}\n\n{text}{(text.Length > 0 ? "\n\n" : "")}");
        Row($"{columns}");
        Row($"{string.Join(" | ", columns.Split(" | ").Select(_ => "---"))}");
    }

    private void Row(FormattableString cells) => _text.Append("| ").Append(cells.ToString(CultureInfo.InvariantCulture)).Append(" |\n");

    private static string Invariant(FormattableString text) => text.ToString(CultureInfo.InvariantCulture);
}
