using System.Text;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;
using TankWatch.Core.Sites;
using Xunit;

namespace TankWatch.Core.Tests.Sites;

public sealed class ContactFileTests
{
    private static SiteFileResult Read(string contact, string escalation = "{}") => SiteFile.Parse(Encoding.UTF8.GetBytes($$"""
        { "id": "h", "name": "H", "timeZone": "Etc/UTC", "tanks": [ { "id": "roof", "role": "overhead", "capacityLitres": 900, "probes": [ { "name": "low", "volumeLitres": 100 } ] } ],
          "pumps": [ { "id": "p1", "from": null, "to": [ "roof" ] } ], "units": [ { "id": "u1", "reports": [ "roof", "p1" ] } ],
          "contacts": [ { "name": "Ada"{{contact}} } ], "escalation": {{escalation}} }
        """));

    [Fact]
    public void What_is_not_said_is_usual()
    {
        var plan = Read("").Plan!;
        var ada = Assert.Single(plan.Contacts);
        Assert.Equal(("caretaker", "en", null, Priority.Medium, DigestRhythm.Daily, false), (ada.Role, ada.Language, ada.Quiet, ada.From, ada.Digest, ada.Declined));
        Assert.Empty(ada.Kinds);
        Assert.Equal(["caretaker", "installer"], plan.Escalation.Order);
        Assert.Equal(TimeSpan.FromMinutes(15), plan.Escalation.PatienceWith(Priority.Critical));
        Assert.Null(plan.Escalation.PatienceWith(Priority.Low));
    }

    [Fact]
    public void Wishes_and_turns_are_read()
    {
        var plan = Read(
            """, "role": "owner", "quietHours": "22:00-07:00", "fromPriority": "high", "kinds": { "leak": "now", "heavy-use": "never" }, "digest": "weekly" """,
            """{ "order": [ "owner", "installer" ], "minutes": { "critical": 5, "high": 30 } }""").Plan!;
        var ada = Assert.Single(plan.Contacts);
        Assert.Equal((new QuietHours(new(22, 0), new(7, 0)), Priority.High, DigestRhythm.Weekly), (ada.Quiet, ada.From, ada.Digest));
        Assert.Equal([(FindingKind.Leak, Hearing.Now), (FindingKind.HeavyUse, Hearing.Never)], ada.Kinds.Select(kind => (kind.Key, kind.Value)));
        Assert.Equal(["owner", "installer"], plan.Escalation.Order);
        Assert.Equal((TimeSpan.FromMinutes(5), null), (plan.Escalation.PatienceWith(Priority.Critical), plan.Escalation.PatienceWith(Priority.Medium)));
    }

    [Theory]
    [InlineData(""", "quietHours": "22:00" """, "$.contacts[0].quietHours: must be two times of day such as 22:00-07:00")]
    [InlineData(""", "quietHours": "07:00-07:00" """, "$.contacts[0].quietHours: must be two times of day such as 22:00-07:00")]
    [InlineData(""", "fromPriority": "urgent" """, "$.contacts[0].fromPriority: must be one of low, medium, high, critical")]
    [InlineData(""", "fromPriority": "High" """, "$.contacts[0].fromPriority: must be one of low, medium, high, critical")]
    [InlineData(""", "fromPriority": "3" """, "$.contacts[0].fromPriority: must be one of low, medium, high, critical")]
    [InlineData(""", "kinds": { "drips": "now" } """, "$.contacts[0].kinds.drips: is no kind of alert")]
    [InlineData(""", "kinds": { "leak": "later" } """, "$.contacts[0].kinds.leak: must be one of now, digest, never")]
    [InlineData(""", "kinds": [] """, "$.contacts[0].kinds: must be an object")]
    [InlineData(""", "digest": 1 """, "$.contacts[0].digest: must be text")]
    [InlineData(""", "email": "nobody" """, "$.contacts[0].email: is no mail address")]
    public void A_wish_that_cannot_be_read_is_named(string contact, string fault) => Assert.Equal([fault], Read(contact).Faults.Select(f => f.ToString()));

    [Theory]
    [InlineData("""{ "minutes": { "high": 0 } }""", "$.escalation.minutes.high: must be a whole number greater than 0")]
    [InlineData("""{ "minutes": { "high": 10081 } }""", "$.escalation.minutes.high: must be at most 10080, a week")]
    [InlineData("""{ "minutes": { "high": 1.5 } }""", "$.escalation.minutes.high: must be a whole number greater than 0")]
    [InlineData("""{ "order": [ 1 ] }""", "$.escalation.order[0]: must be text")]
    [InlineData("""[]""", "$.escalation: must be an object")]
    public void Turns_that_cannot_be_read_are_named(string escalation, string fault) => Assert.Equal([fault], Read("", escalation).Faults.Select(f => f.ToString()));
}
