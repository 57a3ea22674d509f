using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Texts;
using TankWatch.Service.Api;

namespace TankWatch.Service.Pages.Alerts;

/// <summary>An alert in words.</summary>
/// <param name="Id">The alert's.</param>
/// <param name="Sentence">For a caretaker; it may quote what an installer called a probe.</param>
/// <param name="Kind">"probe fault".</param>
/// <param name="Device">The tank, pump or unit.</param>
/// <param name="Priority">low, medium, high or critical.</param>
/// <param name="Since">UTC.</param>
/// <param name="Until">UTC; null while it holds.</param>
/// <param name="Lasted">How long it holds, or held.</param>
/// <param name="State">Where it stands.</param>
/// <param name="Presses">It holds, and nobody put it aside.</param>
/// <param name="IsPast">Back to normal.</param>
/// <param name="IsWithdrawn">Late messages showed that it never was.</param>
/// <param name="IsMoved">Late messages moved its times.</param>
/// <param name="AsksAcknowledgement">Somebody may say that they know.</param>
/// <param name="AcknowledgedBy">Who did.</param>
/// <param name="CauseFound">On site, at closing.</param>
public sealed record AlertView(
    string Id, string Sentence, string Kind, string Device, string Priority, DateTimeOffset Since, DateTimeOffset? Until, string Lasted, IReadOnlyList<Said> State,
    bool Presses, bool IsPast, bool IsWithdrawn, bool IsMoved, bool AsksAcknowledgement, string? AcknowledgedBy, string? CauseFound)
{
    /// <summary>The bracket at the start of its line: a hand is needed, it is in hand, or neither.</summary>
    public string Bracket => !Presses ? "aside" : AsksAcknowledgement ? "hand" : "hand taken";

    internal static AlertView Of(Alert alert, DateTimeOffset now, TimeZoneInfo zone)
    {
        var f = alert.Finding;
        return new(
            alert.Id, Words.Say(f.Text.Summary), Words.Say($"trade.{FindingNames.Of(f.Kind)}"), f.Device.Value, Words.Say(Terms.Of(f.Priority)), f.Since, f.ClearedAt,
            Words.Lasting((f.ClearedAt ?? now) - f.Since), AlertWords.State(alert, now, zone), WorstFirst.Presses(alert), !alert.IsOpen,
            alert.Correction == AlertCorrection.Withdrawn, alert.Correction == AlertCorrection.Moved,
            alert.State is AlertState.Unacknowledged or AlertState.ReturnedUnacknowledged, alert.AcknowledgedBy, alert.CauseFound);
    }
}
