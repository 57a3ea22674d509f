using CsCheck;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;
using Xunit;

namespace TankWatch.Core.Tests.Alerts;

/// <summary>Lives that nobody would think of: CsCheck prints the seed of one that breaks a promise.</summary>
public sealed class AlertLifeTests
{
    private enum Step { Raise, Clear, Acknowledge, Shelve, Unshelve, OutOfService, Return, Close, Wait, Restart, Withdraw, Move }

    private static readonly Gen<(int Step, int Pick, int Minutes, bool CaughtUp)[]> Lives =
        Gen.Select(Gen.Int[0, 19], Gen.Int[0, 1000], Gen.Int[1, 90], Gen.Int[0, 4].Select(n => n > 0)).Array[1, 60];

    // Raising and clearing come more often than the rest.
    private static readonly Step[] Steps = [.. Enum.GetValues<Step>(), .. Enumerable.Repeat(Step.Raise, 4), .. Enumerable.Repeat(Step.Clear, 4)];

    /// <summary>Two conditions of one pump, the people who act on their alerts, and late data that rewrite the last episode.</summary>
    private sealed class Life
    {
        private readonly Desk desk = new();
        private readonly List<Finding>[] history = [[], []];
        private List<string> ids = [];
        private DateTimeOffset now = Scenario.Midnight;

        public int Notified { get; private set; }
        public int Corrected { get; private set; }

        public void Take((int Step, int Pick, int Minutes, bool CaughtUp) step)
        {
            var before = now;
            now = now.AddMinutes(step.Minutes);
            var episodes = history[step.Pick % 2];
            var alert = desk.Alerts.Alerts is { Length: > 0 } all ? all[step.Pick % all.Length].Id : "none";
            var from = Change(Steps[step.Step % Steps.Length], episodes, step.Pick, before);
            AlertCommand? command = Steps[step.Step % Steps.Length] switch
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

        private DateTimeOffset Change(Step step, List<Finding> episodes, int pick, DateTimeOffset before)
        {
            var last = episodes.LastOrDefault();
            switch (step)
            {
                case Step.Raise when last is not { IsOpen: true }:
                    var kind = episodes == history[0] ? FindingKind.OverflowRisk : FindingKind.NoStart;
                    episodes.Add(Desk.Found("00:00", kind: kind) with { Since = now, RaisedAt = now });
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
            desk.At(now).Tell([new(FindingScope.Water, from, [.. findings])], caughtUp, commands);
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
                // Each word that it holds is followed by the one word that it ended, and nothing else.
                Assert.All(alert.Notices.Select((n, i) => (n.Reason, i)), n => Assert.Equal(n.i % 2 == 1, n.Reason == NotifyReason.Cleared));
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

            Tell(now.AddMinutes(-1), true, [.. ids.SelectMany(id => new AlertCommand[] { new Unshelve(id, "ada"), new ReturnToService(id, "ada"), new Acknowledge(id, "ada", null) })]);
            Hold();
            Assert.All(desk.Alerts.Alerts, a => Assert.Equal(AlertState.Normal, a.State));
            Assert.All(desk.Alerts.Alerts, a => Assert.False(a.OwesEnding));
            Assert.Equal(desk.Mails.Count, desk.Mails.Select(m => m.Key).Distinct().Count());
            Assert.Equal(desk.Alerts.Alerts.Sum(a => a.Notices.Length) * 2, desk.Mails.Count); // Ada and Bo.
            Assert.All(
                desk.Mails.GroupBy(m => (m.Alert.Id, m.To.Name)),
                thread => Assert.All(thread.Select((m, i) => (m, i)), m => Assert.Equal(thread.Take(m.i).Select(t => t.Key), m.m.ThreadKeys)));
            Notified = desk.Mails.Count;
            Corrected = desk.Events.OfType<AlertCorrected>().Count();
        }
    }

    [Fact]
    public void Every_word_that_it_holds_has_one_ending_and_ids_never_change()
    {
        var (notified, corrected) = (0, 0);
        Lives.Sample(
            steps =>
            {
                var life = new Life();
                foreach (var step in steps)
                {
                    life.Take(step);
                }

                life.End();
                notified += life.Notified;
                corrected += life.Corrected;
            }, iter: 2000, threads: 1, print: steps => string.Join(" ", steps.Select(s => $"{Steps[s.Step % Steps.Length]}:{s.Pick}:{s.Minutes}:{(s.CaughtUp ? "" : "catching-up")}")));
        Assert.True(notified > 1000 && corrected > 500, $"{notified} notices and {corrected} corrections: too quiet to prove anything");
    }
}
