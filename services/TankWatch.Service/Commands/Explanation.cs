using System.Collections.Immutable;
using System.Globalization;
using TankWatch.Core.Findings;
using TankWatch.Core.Replaying;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;

namespace TankWatch.Service.Commands;

/// <summary>What each finding of a replay rests on, as plain text in the site's own time.</summary>
internal static class Explanation
{
    private const int Width = 100;
    private const string Indent = "  ";

    public static void Write(TextWriter output, ReplayResult result)
    {
        var count = result.Findings.Length;
        output.WriteLine($"{Terminal.OneLine(result.Plan.Id.Value)}: {(count == 0 ? "no finding" : Words.Count(count, "finding"))}. Times are of {result.Plan.TimeZone.Id}.");
        foreach (var finding in result.Findings)
        {
            output.WriteLine();
            Write(output, result.Plan, finding);
        }
    }

    private static void Write(TextWriter output, SitePlan plan, Finding finding)
    {
        Wrap(output, "", $"{FindingNames.Of(finding.Kind)} of {finding.Device} ({FindingNames.Of(finding.Priority)})");
        var cleared = finding.ClearedAt is { } end ? $"cleared {Clock(plan, end)}" : "not cleared";
        Wrap(output, Indent, $"since {Clock(plan, finding.Since)}, raised {Clock(plan, finding.RaisedAt)}, {cleared}");
        var text = finding.Text.In(Languages.English);
        Wrap(output, Indent, text.Summary);
        if (finding.Estimate is { } size)
        {
            Wrap(output, Indent, string.Create(
                CultureInfo.InvariantCulture, $"Size: {size.Name} {size.Size.Value:0.#} {size.Unit}, 90 % sure between {size.Size.Low:0.#} and {size.Size.High:0.#}"));
        }

        List(output, "Causes:", [.. finding.Causes.Select(c => string.Create(CultureInfo.InvariantCulture, $"{c.Name} {100 * c.Probability:0.#} %"))]);
        List(output, "Evidence:", text.Evidence);
        List(output, "Advice:", text.Advice);
        List(output, "Cautions:", text.Cautions);
    }

    private static string Clock(SitePlan plan, DateTimeOffset at) =>
        TimeZoneInfo.ConvertTime(at, plan.TimeZone).ToString("d MMM yyyy HH:mm:ss", CultureInfo.InvariantCulture);

    private static void List(TextWriter output, string title, ImmutableArray<string> items)
    {
        if (items.IsEmpty)
        {
            return;
        }

        output.WriteLine(Indent + title);
        foreach (var item in items)
        {
            Wrap(output, Indent + "- ", item);
        }
    }

    /// <summary>Lines of at most <see cref="Width"/> characters, as far as words are shorter; those after the first stand under its text.</summary>
    private static void Wrap(TextWriter output, string lead, string text)
    {
        var line = lead;
        foreach (var word in Terminal.OneLine(text).Split(' ', StringSplitOptions.RemoveEmptyEntries))
        {
            if (line.Length > lead.Length && line.Length + 1 + word.Length > Width)
            {
                output.WriteLine(line);
                line = new(' ', lead.Length);
            }

            line += line.Length > lead.Length ? " " + word : word;
        }

        output.WriteLine(line);
    }
}
