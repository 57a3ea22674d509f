using System.Collections.Immutable;
using TankWatch.Core.Findings;
using TankWatch.Core.Texts;

namespace TankWatch.Core.Own;

/// <summary>A stage of this service's own work.</summary>
/// <param name="Stage">Its name, such as <c>broker</c>.</param>
/// <param name="LateSince">Since when it does not work, UTC; null while it does.</param>
/// <param name="Reason">Why, in one line for an operator; null while it works.</param>
public sealed record OwnSign(string Stage, DateTimeOffset? LateSince, string? Reason);

/// <summary>
/// Judges this service itself: <c>service-fault</c>, told to its operators alone. While it is cut off, silence says nothing about any
/// unit, and customers hear nothing.
/// </summary>
public static class OwnWatch
{
    /// <summary>A stage that comes back by itself within this is nobody's trouble: brokers and mail servers are started anew.</summary>
    public static readonly TimeSpan RaiseAfter = TimeSpan.FromMinutes(2);

    /// <param name="open">The findings that are open.</param>
    /// <param name="signs">Of every stage, in the order of the way: what fails first explains what fails after it.</param>
    /// <param name="now">Wall clock, UTC.</param>
    /// <returns>The findings that are open or were cleared by this step.</returns>
    public static ImmutableArray<Finding> Judge(ImmutableArray<Finding> open, IReadOnlyList<OwnSign> signs, DateTimeOffset now)
    {
        var first = signs.FirstOrDefault(sign => now - sign.LateSince >= RaiseAfter);
        var findings = open.Select(finding => signs.Any(sign => sign.Stage == finding.Device.Value && sign.LateSince is not null) ? finding : finding with { ClearedAt = now }).ToList();
        if (first is not null && findings.TrueForAll(finding => !finding.IsOpen))
        {
            findings.Add(new(
                FindingKind.ServiceFault, new(first.Stage), Priority.High, first.LateSince!.Value, now, null, null, [],
                new(
                    Phrase.Of(SummaryOf(first.Stage)),
                    [Phrase.Of("service-fault.evidence", ("reason", first.Reason ?? ""))],
                    [Phrase.Of("service-fault.advice.log", ("page", "/health/ready")), Phrase.Of("service-fault.advice.nothing-lost")], [])));
        }

        return [.. findings];
    }

    private static string SummaryOf(string stage) => stage switch
    {
        "store" => "service-fault.summary.store",
        "broker" => "service-fault.summary.broker",
        "mail" => "service-fault.summary.mail",
        "sites" => "service-fault.summary.sites",
        "path" => "service-fault.summary.path",
        _ => throw new ArgumentOutOfRangeException(nameof(stage), stage, "is no stage of this service"),
    };
}
