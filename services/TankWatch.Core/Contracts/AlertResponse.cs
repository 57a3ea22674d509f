using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;

namespace TankWatch.Core.Contracts;

/// <summary>An alert that people were told of, and when it was answered.</summary>
/// <param name="Id">The alert's.</param>
/// <param name="Kind">What it says.</param>
/// <param name="Device">Of what.</param>
/// <param name="Priority">The gravest that people were told.</param>
/// <param name="ToldAt">When people were first told that it holds, wall clock.</param>
/// <param name="AnsweredAt">When somebody first acknowledged it, closed it or was there for it; null until then.</param>
/// <param name="OverAt">When the condition ceased, or was withdrawn, before anybody had answered; null while it holds.</param>
public sealed record ToldAlert(string Id, FindingKind Kind, DeviceId Device, Priority Priority, DateTimeOffset ToldAt, DateTimeOffset? AnsweredAt, DateTimeOffset? OverAt)
{
    /// <param name="alert">As it is now.</param>
    /// <param name="events">All of its life, in order.</param>
    /// <param name="visits">Of its site.</param>
    /// <returns>Null when people were never told of it.</returns>
    public static ToldAlert? Of(Alert alert, IEnumerable<AlertEvent> events, IEnumerable<Visit> visits)
    {
        DateTimeOffset? told = null, answered = null, over = null;
        foreach (var happened in events)
        {
            switch (happened)
            {
                case AlertNotified { Reason: not NotifyReason.Cleared }:
                    told ??= happened.At;
                    break;
                case AlertAcknowledged or AlertClosed:
                    answered ??= happened.At;
                    break;
                case AlertReturned or AlertCorrected { Correction: AlertCorrection.Withdrawn } when answered is null:
                    over ??= happened.At;
                    break;
                case AlertReraised when answered is null:
                    over = null;
                    break;
            }
        }

        if (told is not { } since)
        {
            return null;
        }

        var there = visits.Where(visit => visit.Answers(alert.Id)).Min(visit => visit.DoneAt);
        answered = answered is null || there < answered ? there ?? answered : answered;
        return new(alert.Id, alert.Finding.Kind, alert.Finding.Device, alert.Gravity, since, answered < since ? since : answered, over);
    }
}

/// <summary>How an answer stands to what was promised.</summary>
public enum ResponseState
{
    /// <summary>Nobody has answered, and there is time yet.</summary>
    Running,

    Kept,

    /// <summary>Answered late, or not yet and the time is over.</summary>
    Missed,

    /// <summary>It passed by itself within the time, before anybody had answered: nobody failed, and nobody came.</summary>
    Passed,
}

/// <summary>An alert beside the contract.</summary>
/// <param name="Alert">The alert.</param>
/// <param name="State">How it stands.</param>
/// <param name="Taken">Time that counts from when people were told to the answer, to its passing, or to now.</param>
/// <param name="Deadline">The moment at which the promised time is used up; an answer at it is in time.</param>
public sealed record AlertResponse(ToldAlert Alert, ResponseState State, TimeSpan Taken, DateTimeOffset Deadline)
{
    /// <returns>Null when nothing was promised for it.</returns>
    public static AlertResponse? Of(Contract contract, ToldAlert alert, TimeZoneInfo zone, DateTimeOffset now)
    {
        if (!contract.HoldsOn(Time.LocalDays.DateOf(alert.ToldAt, zone)) || contract.TargetFor(alert.Priority) is not { } target)
        {
            return null;
        }

        var deadline = contract.Hours.After(alert.ToldAt, target, zone);
        var state = alert.AnsweredAt <= deadline ? ResponseState.Kept
            : alert.OverAt <= deadline ? ResponseState.Passed
            : alert.AnsweredAt is not null || now > deadline ? ResponseState.Missed
            : ResponseState.Running;
        var end = (state == ResponseState.Passed ? alert.OverAt : alert.AnsweredAt) ?? now;
        return new(alert, state, contract.Hours.Between(alert.ToldAt, end, zone), deadline);
    }
}
