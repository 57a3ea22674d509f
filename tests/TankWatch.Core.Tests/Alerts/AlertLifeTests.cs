using CsCheck;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;
using TankWatch.Core.Sites;
using Xunit;

namespace TankWatch.Core.Tests.Alerts;

/// <summary>Lives that nobody would think of: CsCheck prints the seed of one that breaks a promise.</summary>
public sealed class AlertLifeTests
{
    private enum Step { Raise, Clear, Acknowledge, Shelve, Unshelve, OutOfService, Return, Close, Wait, Restart, Withdraw, Move, Outage, SetClock, Mute }

    private static readonly Gen<(int Step, int Pick, int Minutes, bool CaughtUp)[]> Lives =
        Gen.Select(Gen.Int[0, 24], Gen.Int[0, 1000], Gen.Int[1, 90], Gen.Int[0, 4].Select(n => n > 0)).Array[1, 24];

    // Raising and clearing come more often than the rest.
    private static readonly Step[] Steps = [.. Enum.GetValues<Step>(), .. Enumerable.Repeat(Step.Raise, 6), .. Enumerable.Repeat(Step.Clear, 4)];

    /// <summary>Two that explain nothing, and four of which the first explains the second and the third the fourth.</summary>
    private static readonly (FindingKind Kind, string Device, Priority Priority)[] Conditions =
    [
        (FindingKind.OverflowRisk, "p1", Priority.Critical), (FindingKind.LeftInManual, "p1", Priority.Medium),
        (FindingKind.PowerFailure, "u1", Priority.Medium), (FindingKind.UnitSilent, "u1", Priority.Medium),
        (FindingKind.LowSupply, "sump", Priority.High), (FindingKind.RunningOut, "roof", Priority.Critical),
    ];

    private static readonly SitePlan Heard = Plans.House(site: """
        , "contacts": [ { "name": "Ada", "email": "ada@example.org", "fromPriority": "low" }, { "name": "Di", "email": "di@example.org", "role": "installer" } ]
        """);

    private static readonly SitePlan Muted = Plans.House(site: """
        , "contacts": [ { "name": "Ada", "email": "ada@example.org", "fromPriority": "low" },
          { "name": "Di", "email": "di@example.org", "role": "installer", "fromPriority": "critical", "kinds": { "low-supply": "never" }, "quietHours": "22:00-06:30" } ]
        """);

    /// <summary>The conditions of a house, the people who act on its alerts, an outage outside, a clock that is set, and late data that rewrite the last episode.</summary>
    private sealed class Life
    {
        private readonly Desk desk = new Desk().With(Heard);
        private readonly List<Finding>[] history = [.. Conditions.Select(_ => new List<Finding>())];
        private List<string> ids = [];
        private DateTimeOffset now = Scenario.Midnight;
        private bool outage;
        private bool muted;

        public int Notified { get; private set; }
        public int Corrected { get; private set; }
        public int Explained { get; private set; }
        public int Escalated { get; private set; }

        public void Take((int Step, int Pick, int Minutes, bool CaughtUp) step)
        {
            var before = now;
            now = now.AddMinutes(step.Minutes);
            var kind = Steps[step.Step % Steps.Length];
            var alert = desk.Alerts.Alerts is { Length: > 0 } all ? all[step.Pick % all.Length].Id : "none";
            Turn(kind, step.Pick);
            var from = Change(kind, step.Pick % Conditions.Length, step.Pick, before);
            AlertCommand? command = kind switch
            {
                Step.Acknowledge => new Acknowledge(alert, "ada", null),
                Step.Shelve => new Shelve(alert, "ada", now.AddMinutes(step.Pick % 200), "known"),
                Step.Unshelve => new Unshelve(alert, "ada"),
                Step.OutOfService => new TakeOutOfService(alert, "ada", null),
                Step.Return => new ReturnToService(alert, "ada"),
                Step.Close => new Close(alert, "ada", "found"),
                _ => null,
            };
            Tell(from, step.CaughtUp, command is null ? [] : [command]);
            if (from == DateTimeOffset.MinValue)
            {
                Assert.Equal(ids.Count, desk.Alerts.Alerts.Length); // A restart tells nothing that was not told: no episode is raised twice.
            }

            Hold();
        }

        /// <summary>What changes around the site.</summary>
        private void Turn(Step step, int pick)
        {
            switch (step)
            {
                case Step.Outage:
                    outage = !outage;
                    desk.Outside(outage ? [new("area", FindingKind.AreaOutage, Priority.High, now)] : []);
                    break;
                case Step.Mute:
                    muted = !muted;
                    desk.With(muted ? Muted : Heard);
                    break;
                case Step.SetClock:
                    var by = TimeSpan.FromMinutes(pick % 2 == 0 ? 61 : 1441);
                    desk.At(now).ClockSet(by);
                    now += by;
                    break;
                case Step.Restart:
                    desk.Restart();
                    break;
            }
        }

        private DateTimeOffset Change(Step step, int condition, int pick, DateTimeOffset before)
        {
            var episodes = history[condition];
            var last = episodes.LastOrDefault();
            switch (step)
            {
                case Step.Raise when last is not { IsOpen: true }:
                    var (kind, device, priority) = Conditions[condition];
                    episodes.Add(Desk.Found("00:00", kind: kind, priority: priority) with { Device = new(device), Since = now, RaisedAt = now });
                    return before;
                case Step.Clear when last is { IsOpen: true }:
                    episodes[^1] = last with { ClearedAt = now };
                    return before;
                case Step.Withdraw when last is not null:
                    episodes.RemoveAt(episodes.Count - 1);
                    return last.Since.AddSeconds(-1);
                case Step.Move when last is not null:
                    episodes[^1] = last with { Since = last.Since.AddSeconds(-2), RaisedAt = last.RaisedAt.AddSeconds(-(pick % 2)) };
                    return last.Since.AddSeconds(-3);
                case Step.Restart:
                    return DateTimeOffset.MinValue;
                default:
                    return before;
            }
        }

        private void Tell(DateTimeOffset from, bool caughtUp, AlertCommand[] commands)
        {
            var findings = history.SelectMany(h => h).Where(f => f.ClearedAt is null || f.ClearedAt > from).Order(Comparer<Finding>.Create(Finding.Compare));
            desk.At(now).Tell(
                [new(FindingScope.Water, from, [.. findings.Where(f => f.Scope == FindingScope.Water)]), new(FindingScope.Link, from, [.. findings.Where(f => f.Scope == FindingScope.Link)])],
                caughtUp, commands);
        }

        private void Hold()
        {
            var alerts = desk.Alerts.Alerts;
            Assert.Equal(ids, alerts.Take(ids.Count).Select(a => a.Id)); // What was told keeps its id.
            ids = [.. alerts.Select(a => a.Id)];
            Assert.Equal(ids.Count, ids.Distinct().Count());
            Assert.All(alerts.Where(a => a.IsOpen).GroupBy(a => (a.Finding.Device, a.Finding.Kind)), open => Assert.Single(open));
            foreach (var finding in history.SelectMany(h => h).Where(f => f.IsOpen))
            {
                Assert.Contains(alerts, a => a.Finding.Kind == finding.Kind && a.Finding.RaisedAt == finding.RaisedAt && a.Finding.IsOpen);
            }

            foreach (var alert in alerts)
            {
                // Each word that it holds is followed by the one word that it ended; between them only how it goes on.
                Assert.All(alert.Notices.Select((n, i) => (n.Reason, Before: i == 0 ? NotifyReason.Cleared : alert.Notices[i - 1].Reason)), n =>
                    Assert.Equal(n.Before == NotifyReason.Cleared, n.Reason is NotifyReason.Opened or NotifyReason.Reopened));
                Assert.Equal(alert.Notices.Any(), alert.NotifiedAt is not null);
            }
        }

        /// <summary>Everything clears, and whatever was held is let go.</summary>
        public void End()
        {
            now = now.AddMinutes(1);
            foreach (var episodes in history.Where(h => h is [.., { IsOpen: true }]))
            {
                episodes[^1] = episodes[^1] with { ClearedAt = now };
            }

            desk.Outside();
            Tell(now.AddMinutes(-1), true, [.. ids.SelectMany(id => new AlertCommand[] { new Unshelve(id, "ada"), new ReturnToService(id, "ada"), new Acknowledge(id, "ada", null) })]);
            Hold();
            Assert.All(desk.Alerts.Alerts, a => Assert.Equal(AlertState.Normal, a.State));
            Assert.All(desk.Alerts.Alerts, a => Assert.False(a.OwesEnding));
            Assert.Equal(desk.Mails.Count, desk.Mails.Select(m => m.Key).Distinct().Count());
            foreach (var alert in desk.Alerts.Alerts)
            {
                var ada = desk.Mails.Where(m => m.Alert.Id == alert.Id && m.To.Name == "Ada").ToList();
                Assert.Equal(alert.Notices.Select(n => n.Reason).Where(r => r != NotifyReason.Escalated), ada.Select(m => m.Reason));
                Assert.All(ada, m => Assert.Equal(ada.TakeWhile(earlier => earlier != m).Select(e => e.Key), m.ThreadKeys.Intersect(ada.Select(other => other.Key))));
            }

            Notified = desk.Mails.Count;
            Corrected = desk.Events.OfType<AlertCorrected>().Count();
            Explained = desk.Events.OfType<AlertSuppressed>().Count();
            Escalated = desk.Events.OfType<AlertNotified>().Count(e => e.Reason == NotifyReason.Escalated);
        }
    }

    /// <summary>100,000 lives: raised, acknowledged, shelved, explained, muted, corrected, restarted, in any order.</summary>
    [Fact]
    public void Every_word_that_it_holds_has_one_ending_and_ids_never_change()
    {
        var (notified, corrected, explained, escalated) = (0, 0, 0, 0);
        Lives.Sample(
            steps =>
            {
                var life = new Life();
                foreach (var step in steps)
                {
                    life.Take(step);
                }

                life.End();
                Interlocked.Add(ref notified, life.Notified);
                Interlocked.Add(ref corrected, life.Corrected);
                Interlocked.Add(ref explained, life.Explained);
                Interlocked.Add(ref escalated, life.Escalated);
            }, iter: 100_000, print: steps => string.Join(" ", steps.Select(s => $"{Steps[s.Step % Steps.Length]}:{s.Pick}:{s.Minutes}:{(s.CaughtUp ? "" : "catching-up")}")));
        Assert.True(
            notified > 100_000 && corrected > 10_000 && explained > 10_000 && escalated > 10_000,
            $"{notified} notices, {corrected} corrections, {explained} explained, {escalated} escalated: too quiet to prove anything");
    }
}
