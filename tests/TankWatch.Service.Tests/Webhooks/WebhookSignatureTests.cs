using System.Globalization;
using System.Text;
using Microsoft.AspNetCore.Http;
using StandardWebhooks;
using StandardWebhooks.Diagnostics;
using TankWatch.Service.Storage;
using TankWatch.Service.Webhooks;
using Xunit;

namespace TankWatch.Service.Tests.Webhooks;

public sealed class WebhookSignatureTests
{
    [Fact]
    public void The_example_of_Standard_Webhooks_is_signed_as_there() // CHECKS I7 [V].
    {
        byte[] body = [.. """{"test": 2432232314}"""u8];
        foreach (var prefix in (string[])["", "whsec_"])
        {
            Assert.Equal(
                "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=",
                WebhookSignature.Of([prefix + "MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"], "msg_p5jXN8AQM9LWM0D4loKWxJek", 1614265330, body));
        }
    }

    [Theory] // RFC 4231, 4.2 and 4.3 (CHECKS I8 [M]): the function beneath.
    [InlineData("0b0b0b0b0b0b0b0b0b0b0b0b0b0b0b0b0b0b0b0b", "Hi There", "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7")]
    [InlineData("4a656665", "what do ya want for nothing?", "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843")]
    public void The_function_beneath_is_HMAC_with_SHA_256(string key, string text, string mac) => Assert.Equal(
        mac, Convert.ToHexStringLower(System.Security.Cryptography.HMACSHA256.HashData(Convert.FromHexString(key), Encoding.ASCII.GetBytes(text))));

    [Fact]
    public void A_secret_is_new_each_time_and_of_a_length_that_is_allowed()
    {
        var secrets = Enumerable.Range(0, 20).Select(_ => WebhookSignature.NewSecret()).ToList();
        Assert.Equal(20, secrets.Distinct().Count());
        Assert.All(secrets, secret =>
        {
            Assert.StartsWith("whsec_", secret, StringComparison.Ordinal);
            Assert.InRange(Convert.FromBase64String(secret["whsec_".Length..]).Length, 24, 64);
        });
    }

    [Fact]
    public void The_library_takes_it_with_each_secret_in_force_and_with_no_other()
    {
        var (one, two, other) = (WebhookSignature.NewSecret(), WebhookSignature.NewSecret(), WebhookSignature.NewSecret());
        var now = TimeProvider.System.GetUtcNow().ToUnixTimeSeconds(); // The library goes by the clock of the machine.
        const string Body = """{"type":"test.ping","name":"Erlenstraße 🏠"}""";
        var headers = new HeaderDictionary
        {
            ["webhook-id"] = "msg_1", ["webhook-timestamp"] = now.ToString(CultureInfo.InvariantCulture),
            ["webhook-signature"] = WebhookSignature.Of([one, two], "msg_1", now, Encoding.UTF8.GetBytes(Body)),
        };
        new StandardWebhook(one).Verify(Body, headers);
        new StandardWebhook(two).Verify(Body, headers);
        Assert.Throws<WebhookVerificationException>(() => new StandardWebhook(other).Verify(Body, headers));
        Assert.Throws<WebhookVerificationException>(() => new StandardWebhook(one).Verify(Body + " ", headers));
    }

    [Fact]
    public void The_former_secret_signs_until_its_time_and_no_longer()
    {
        var until = new DateTimeOffset(2026, 3, 2, 12, 0, 0, TimeSpan.Zero);
        var hook = new Webhook("wh_1", "https://example.org/", null, "new", "old", until, until, 0, WebhookFailing.Not, null, null);
        Assert.Equal(["new", "old"], hook.SecretsAt(until.AddTicks(-1)));
        Assert.Equal(["new"], hook.SecretsAt(until));
    }
}
