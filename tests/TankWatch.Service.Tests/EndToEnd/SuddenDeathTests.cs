using System.Diagnostics;
using MimeKit;
using TankWatch.Service.Tests.Ingest;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.EndToEnd;

/// <summary>
/// The service is killed as a power cut would kill it, at random moments under load: while it starts, takes messages, folds its journal
/// and sends letters. Afterwards the units' own ledgers, the store and the mails must agree.
/// </summary>
public sealed class SuddenDeathTests(ITestOutputHelper output)
{
    private const int Houses = 12;
    private const int FoldRows = 100; // So that it folds most of the time, and many a death falls into a fold.
    private const int LookEvery = 10;

    private readonly Random random = new(TestNumbers.KillSeed);

    [Fact]
    public async Task Behind_mosquitto_nothing_acknowledged_is_lost_or_doubled_and_nobody_is_told_twice()
    {
        await using var mosquitto = await Mosquitto.StartedAsync(configuration: Mosquitto.InMemory);
        await HoldsAsync(mosquitto, TestNumbers.Kills / 2);
    }

    [Fact]
    public async Task With_its_own_broker_nothing_acknowledged_is_lost_or_doubled_and_nobody_is_told_twice() =>
        await HoldsAsync(mosquitto: null, TestNumbers.Kills - (TestNumbers.Kills / 2));

    private async Task HoldsAsync(Mosquitto? mosquitto, int kills)
    {
        output.WriteLine($"TANKWATCH_TEST_KILL_SEED={TestNumbers.KillSeed}");
        var started = Stopwatch.GetTimestamp();
        List<FieldUnit> units = [.. Enumerable.Range(1, Houses).Select(number => new FieldUnit(number))];
        using var houses = new ServedHouses(mosquitto, units.ConvertAll(unit => unit.SiteJson), foldRows: FoldRows);
        units.ForEach(unit => unit.Secret = houses.Secrets[unit.Id]);
        await houses.ServeAsync();

        using var enough = new CancellationTokenSource();
        var talking = units.ConvertAll(unit => Task.Run(() => unit.TalkAsync(houses.Host, houses.Port, enough.Token)));
        units.ForEach(unit => { unit.TripTwice(); unit.FailPower(); });
        var untilTold = kills * 3 / 5;
        await KillAsync(houses, units, untilTold, mosquitto is null);

        // Both alerts of every house are told once the service has lived long enough to have caught up; it dies while the letters leave.
        await houses.ServeAsync();
        await Eventually.Holds(() => houses.Count("SELECT count(*) FROM outbox") == 2 * Houses, "the letters of all alerts", TimeSpan.FromSeconds(60));
        await houses.Service.KillAsync();
        units.ForEach(unit => unit.RestorePower());
        await KillAsync(houses, units, kills - untilTold - 1, mosquitto is null);

        await houses.ServeAsync();
        await Eventually.Holds(
            () => houses.Count("SELECT count(*) FROM outbox WHERE sent_at IS NOT NULL") == 3 * Houses, "the letters of all ends", TimeSpan.FromSeconds(60));
        await enough.CancelAsync();
        await Task.WhenAll(talking).WaitAsync(TimeSpan.FromSeconds(60));
        var acknowledged = units.Sum(unit => unit.Acknowledged);
        await Eventually.Holds(() => Stored(houses, units) == acknowledged, $"{acknowledged} acknowledged messages in the store", TimeSpan.FromSeconds(60));
        output.WriteLine($"{kills} deaths, {acknowledged} messages, {houses.Count("SELECT seq FROM sqlite_sequence WHERE name = 'journal'")} batches, {Stopwatch.GetElapsedTime(started).TotalSeconds:0} s");
        CheckAlerts(houses);
        CheckMails(houses);
    }

    private async Task KillAsync(ServedHouses houses, List<FieldUnit> units, int kills, bool acknowledgedIsDurable)
    {
        for (var kill = 1; kill <= kills; kill++)
        {
            if (kill > 1 || !houses.Service.Runs)
            {
                houses.Service.Start();
            }

            // One in three dies while it starts.
            if (random.Next(3) > 0)
            {
                await houses.Service.OpenAsync();
            }

            await Task.Delay(random.Next(50, 900));
            var promised = units.ConvertAll(unit => unit.Acknowledged);
            await houses.Service.KillAsync();
            if (acknowledgedIsDurable && kill % LookEvery == 0)
            {
                Assert.All(units.Zip(promised), unit => Assert.True(houses.StoredOf(unit.First.Plan, new(unit.First.Id)) >= unit.Second, $"{unit.First.Id} was promised {unit.Second}"));
            }
        }
    }

    private static long Stored(ServedHouses houses, List<FieldUnit> units) => units.Sum(unit => houses.StoredOf(unit.Plan, new(unit.Id)));

    /// <summary>Two alerts a house, and each event of their lives once, numbered without gaps.</summary>
    private static void CheckAlerts(ServedHouses houses)
    {
        var alerts = houses.List("SELECT site, kind, id FROM alerts ORDER BY site, kind", row => (Site: row.GetString(0), Kind: row.GetString(1), Id: row.GetString(2)));
        Assert.Equal(
            houses.Plans.SelectMany(plan => (IEnumerable<string>)[$"{plan.Id} overload-trips", $"{plan.Id} power-failure"]).Order(StringComparer.Ordinal),
            alerts.Select(alert => $"{alert.Site} {alert.Kind}"));
        foreach (var alert in alerts)
        {
            var events = houses.List($"SELECT n, type FROM alert_events WHERE alert = '{alert.Id}' ORDER BY n", row => (Number: row.GetInt64(0), Type: row.GetString(1)));
            Assert.Equal(Enumerable.Range(0, events.Count).Select(n => n + events[0].Number), events.Select(happened => happened.Number));
            var once = alert.Kind == "power-failure" ? ["raised", "notified", "returned", "notified"] : (string[])["raised", "notified"];
            Assert.Equal(once, events.Select(happened => happened.Type).Where(type => type is not ("reworded" or "corrected")));
        }

        Assert.Equal(0, houses.Count("""SELECT count(*) FROM alert_events WHERE json LIKE '%"correction":"withdrawn"%'"""));
        Assert.Equal(houses.Count("SELECT count(*) FROM alert_events"), houses.Count("SELECT count(*) FROM alert_log"));
    }

    /// <summary>One mail for each intention, whole, under the Message-ID that the outbox gave it.</summary>
    private static void CheckMails(ServedHouses houses)
    {
        Assert.Equal(3 * Houses, houses.Count("SELECT count(*) FROM outbox"));
        var intended = houses.List("SELECT message_id FROM outbox", row => row.GetString(0));
        Assert.Equal(intended.Count, intended.Distinct().Count());
        var mails = Directory.GetFiles(houses.MailFolder).Where(file => file.EndsWith(".eml", StringComparison.Ordinal)).Select(file => MimeMessage.Load(file).MessageId);
        Assert.Equal(intended.Order(StringComparer.Ordinal), mails.Order(StringComparer.Ordinal));
        Assert.Empty(Directory.GetFiles(houses.MailFolder, "*.part"));
    }
}
