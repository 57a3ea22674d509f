using TankWatch.Core.Findings;
using TankWatch.Service.Mail;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Mail;

public sealed class GatheringPropertyTests
{
    private const int Cases = 20;

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    public static TheoryData<int> Seeds => [.. Environment.GetEnvironmentVariable("TANKWATCH_TEST_SEED") is { } seed
        ? [int.Parse(seed, System.Globalization.CultureInfo.InvariantCulture)] : Enumerable.Range(1, Cases)];

    /// <summary>Whatever the waits, outages, refusals, lost answers and deaths: each letter arrives, and in exactly one mail, which may be there twice under one Message-ID.</summary>
    [Theory]
    [MemberData(nameof(Seeds))]
    public async Task Every_letter_is_in_exactly_one_mail(int seed)
    {
        var random = new Random(seed);
        await using var rig = Rig.New();
        Assert.Null(rig.Put(SampleSite.Json()));
        var transport = new FlakyTransport();
        var sender = OutboxSenderTests.Sender(rig, transport);
        var (alerts, trouble, criticalDelays) = (0, 0.0, 0);
        transport.Opens = () => random.NextDouble() < trouble ? "closed" : null;
        transport.Sends = _ => random.NextDouble() >= trouble ? (true, new MailOutcome.Sent()) : random.Next(6) switch
        {
            0 => (false, new MailOutcome.TryLater("greylisted", MayHoldForAll: false)),
            1 => (false, new MailOutcome.TryLater("broke before", MayHoldForAll: true)),
            2 => (true, new MailOutcome.TryLater("broke after", MayHoldForAll: true)),
            3 => (false, new MailOutcome.Closed("closed")),
            4 => (true, null),
            _ => (false, null),
        };

        for (var minute = 0; minute < 240; minute++)
        {
            trouble = minute % 40 == 0 ? new[] { 0, 0, 0.3, 0.9, 1 }[random.Next(5)] : trouble;
            for (var n = random.Next(3) == 0 ? random.Next(1, 4) : 0; n > 0; n--)
            {
                var priority = random.Next(8) == 0 ? Priority.Critical : Priority.Medium;
                DateTimeOffset? quiet = priority != Priority.Critical && random.Next(5) == 0 ? rig.Time.GetUtcNow().AddMinutes(random.Next(1, 90)) : null;
                Letters.PostWithAlerts(rig, Letters.OfMany(rig, alerts++, $"p{random.Next(3)}@example.org", priority: priority, notBefore: quiet));
            }

            sender = await RoundAsync(rig, transport, sender);
            criticalDelays += trouble == 0 && minute > 0 && minute % 40 > 4 ? Waiting(rig) : 0;
            rig.Clock.Advance(TimeSpan.FromMinutes(1));
        }

        trouble = 0;
        for (var i = 0; i < 300 && rig.Ledger.FindNextAttempt() is not null; i++)
        {
            sender = await RoundAsync(rig, transport, sender);
            rig.Clock.Advance(TimeSpan.FromMinutes(2));
        }

        sender.Dispose();
        Assert.True(rig.Ledger.FindNextAttempt() is null, $"seed {seed}: something still waits");
        var texts = transport.Arrived.GroupBy(mail => mail.MessageId!).Select(same => (Id: same.Key, Text: same.First().Subject + same.First().TextBody)).ToList();
        Assert.All(Enumerable.Range(0, alerts), i => Assert.True(
            texts.Count(mail => mail.Text.Contains($"d{i:0000}", StringComparison.Ordinal)) == 1,
            $"seed {seed}: letter {i} is in {texts.Count(mail => mail.Text.Contains($"d{i:0000}", StringComparison.Ordinal))} mails"));
        Assert.All(rig.Ledger.ListOutbox(null, 10_000), entry => Assert.NotNull(entry.SentAt));
        Assert.True(criticalDelays == 0, $"seed {seed}: something critical waited while mail worked");
    }

    /// <returns>How many critical letters that were not tried yet are due.</returns>
    private static int Waiting(Rig rig) => (int)rig.Database.Read(connection =>
        (long)connection.Scalar("SELECT count(*) FROM outbox WHERE critical = 1 AND attempts = 0 AND next_attempt IS NOT NULL")!);

    private static async Task<OutboxSender> RoundAsync(Rig rig, FlakyTransport transport, OutboxSender sender)
    {
        try
        {
            await sender.SendDueAsync(Stop);
            return sender;
        }
        catch (OperationCanceledException)
        {
            sender.Dispose();
            return OutboxSenderTests.Sender(rig, transport); // The process was started again.
        }
    }
}
