using System.Buffers.Text;
using System.Net;
using System.Security.Cryptography;
using System.Text;
using System.Text.Json;
using Microsoft.AspNetCore.Http;
using Microsoft.Extensions.Logging.Abstractions;
using MimeKit;
using TankWatch.Core;
using TankWatch.Core.Tests.Texts;
using TankWatch.Core.Texts;
using TankWatch.Service.Mail;
using TankWatch.Service.Push;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Push;

/// <summary>An alert goes to the browsers of its people first; without their receipt the mail goes after a minute.</summary>
public sealed class PushTests
{
    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    private const string KeyName = "hers";

    private sealed class Phone : IMailTransport, IAsyncDisposable
    {
        private readonly PushClient client;
        private readonly PushSender pushes;
        private readonly OutboxSender mails;

        private Phone(Rig rig, Service service)
        {
            (Rig, Service) = (rig, service);
            client = new(rig.Ledger, new() { AllowPrivateTargets = true, AllowHttp = true }, rig.Mail, NullLogger<PushClient>.Instance);
            pushes = new(rig.Ledger, client, new(rig.Ledger, () => null), rig.Bell, rig.AlertBell, rig.Metrics, rig.Time, NullLogger<PushSender>.Instance);
            mails = new(rig.Ledger, rig.Composer, this, rig.Bell, rig.Ready, rig.Metrics, rig.Traces, rig.Time, NullLogger<OutboxSender>.Instance);
            Subscribe(null);
        }

        public Rig Rig { get; }
        public Service Service { get; }
        public Browser Browser { get; } = new();
        public List<string> Mails { get; } = [];

        public static async Task<Phone> HeldAsync(string language = "en")
        {
            var rig = await Rig.RunningAsync(language: language);
            return new(rig, await Service.StartAsync());
        }

        /// <param name="site">The only one of which it is told; null for all.</param>
        public PushSubscriber Subscribe(string? site) => Rig.Ledger.PutSubscriber(
            new(Service.Url, Browser.P256dh, Browser.Auth, "Caretaker@example.org", "phone", KeyName, site is null ? null : new SiteId(site)));

        public IReadOnlyList<PushSubscriber> Subscribers => Rig.Ledger.ListSubscribers(null, KeyName, 10);

        /// <summary>As the browser sends it.</summary>
        public bool Receive(string receipt) => receipt.Split('/') is ["", "push", "receipts", var browser, var letter] && Rig.Ledger.TakeReceipt(browser, letter, Rig.Time.GetUtcNow());

        /// <summary>The power fails, and what is due is sent.</summary>
        public async Task<JsonElement?> AlertAsync()
        {
            await Rig.FailPowerAsync();
            await SendAsync();
            return Service.Bodies.Count == 0 ? null : JsonSerializer.Deserialize<JsonElement>(Browser.Open(Service.Bodies[^1]));
        }

        public async Task SendAsync()
        {
            await pushes.SendDueAsync(Stop);
            await mails.SendDueAsync(Stop);
        }

        public Task<string?> OpenAsync(CancellationToken stop) => Task.FromResult<string?>(null);

        public Task RestAsync() => Task.CompletedTask;

        public Task<MailOutcome> SendAsync(string key, MimeMessage message, CancellationToken stop)
        {
            Mails.Add(message.Subject!);
            return Task.FromResult<MailOutcome>(new MailOutcome.Sent());
        }

        public async ValueTask DisposeAsync()
        {
            pushes.Dispose();
            mails.Dispose();
            client.Dispose();
            Browser.Dispose();
            await Service.DisposeAsync();
            await Rig.DisposeAsync();
        }
    }

    [Fact]
    public async Task A_browser_opens_what_it_is_sent_and_the_sender_is_known_by_its_key()
    {
        await using var phone = await Phone.HeldAsync();
        var shown = (await phone.AlertAsync())!.Value;
        Assert.Equal("Alder Row: Power cut, fu-1", shown.GetProperty("title").GetString());
        Assert.EndsWith("The mains are off at Alder Row; no pump can run there.", shown.GetProperty("body").GetString(), StringComparison.Ordinal);
        Assert.StartsWith("/alerts/", shown.GetProperty("address").GetString(), StringComparison.Ordinal);
        Assert.Equal(22, phone.Subscribers[0].Token.Length); // 128 bits, base64url.
        var headers = phone.Service.Headers[^1];
        Assert.Equal(("60", "aes128gcm", ""), (headers["TTL"].ToString(), headers.ContentEncoding.ToString(), headers["Urgency"].ToString())); // Normal urgency is not said (RFC 8030, 5.3).
        Assert.True(phone.Service.Bodies[^1].Length <= 4096); // RFC 8291, 4

        // RFC 8292: a token signed by the key that the browser subscribed with, for the push service's origin.
        var said = headers.Authorization.ToString();
        var (token, key) = (said[(said.IndexOf("t=", StringComparison.Ordinal) + 2)..said.IndexOf(',', StringComparison.Ordinal)], said[(said.IndexOf("k=", StringComparison.Ordinal) + 2)..]);
        Assert.Equal(phone.Rig.Ledger.GetPushKeys().Public, key);
        var point = Base64Url.DecodeFromChars(key);
        using var known = ECDsa.Create(new ECParameters { Curve = ECCurve.NamedCurves.nistP256, Q = new() { X = point[1..33], Y = point[33..] } });
        var parts = token.Split('.');
        Assert.True(known.VerifyData(Encoding.ASCII.GetBytes($"{parts[0]}.{parts[1]}"), Base64Url.DecodeFromChars(parts[2]), HashAlgorithmName.SHA256));
        var claims = JsonSerializer.Deserialize<JsonElement>(Base64Url.DecodeFromChars(parts[1]));
        Assert.Equal(("mailto:tankwatch@water.example", "http://127.0.0.1"), (claims.GetProperty("sub").GetString(), claims.GetProperty("aud").GetString())); // The library leaves out a port; push services have the usual one.
    }

    [Fact]
    public async Task No_word_of_what_a_phone_shows_stands_in_the_code()
    {
        await using var phone = await Phone.HeldAsync(Languages.Pseudo.Tag);
        var shown = (await phone.AlertAsync())!.Value;
        Assert.Equal((Languages.Pseudo.Tag, "ltr"), (shown.GetProperty("lang").GetString(), shown.GetProperty("dir").GetString()));
        Assert.All(["title", "body"], member => Assert.Equal("", PseudoLanguage.Strangers(shown.GetProperty(member).GetString()!, ["Alder Row", "fu-1", "Europe/Lisbon"])));
    }

    [Fact]
    public async Task With_a_receipt_the_mail_is_not_needed()
    {
        await using var phone = await Phone.HeldAsync();
        var receipt = (await phone.AlertAsync())!.Value.GetProperty("receipt").GetString()!;
        Assert.True(phone.Receive(receipt));
        await phone.Rig.PassAsync(TimeSpan.FromMinutes(3));
        await phone.SendAsync();
        Assert.Empty(phone.Mails);
        Assert.NotNull(Assert.Single(phone.Rig.Ledger.ListOutbox(null, 10)).SentAt);
        Assert.Equal(phone.Rig.Time.GetUtcNow() - TimeSpan.FromMinutes(3), Assert.Single(phone.Subscribers).ReceivedAt);
        Assert.False(phone.Receive(receipt + "x"));
        Assert.False(phone.Rig.Ledger.TakeReceipt("nobody-gave-this", null, phone.Rig.Time.GetUtcNow()));
    }

    [Fact]
    public async Task Without_a_receipt_the_mail_goes_after_a_minute_and_not_before()
    {
        await using var phone = await Phone.HeldAsync();
        await phone.AlertAsync();
        Assert.Empty(phone.Mails);
        var letter = Assert.Single(phone.Rig.Ledger.ListOutbox(null, 10));
        Assert.Equal(letter.CreatedAt.AddSeconds(60), letter.NextAttemptAt);
        await phone.Rig.PassAsync(TimeSpan.FromSeconds(60), TimeSpan.FromSeconds(5));
        await phone.SendAsync();
        Assert.Equal(["Alder Row: Power cut, fu-1"], phone.Mails);
        Assert.Single(phone.Service.Bodies); // And is not pushed again.
    }

    [Fact]
    public async Task A_push_service_that_does_not_take_it_makes_the_mail_go_at_once()
    {
        await using var phone = await Phone.HeldAsync();
        phone.Service.Status = HttpStatusCode.InternalServerError;
        await phone.AlertAsync();
        Assert.Single(phone.Mails);
        Assert.Single(phone.Subscribers);
    }

    [Theory]
    [InlineData(HttpStatusCode.Gone)]
    [InlineData(HttpStatusCode.NotFound)]
    public async Task A_browser_that_is_gone_is_forgotten(HttpStatusCode status)
    {
        await using var phone = await Phone.HeldAsync();
        phone.Service.Status = status;
        await phone.AlertAsync();
        Assert.Single(phone.Mails);
        Assert.Empty(phone.Subscribers);
    }

    [Fact]
    public async Task Whoever_has_no_browser_gets_the_mail_at_once()
    {
        await using var phone = await Phone.HeldAsync();
        Assert.True(phone.Rig.Ledger.RemoveSubscriber(Assert.Single(phone.Subscribers).Id));
        await phone.AlertAsync();
        Assert.Single(phone.Mails);
        Assert.Empty(phone.Service.Bodies);
    }

    [Theory]
    [InlineData("alder-row", true)]
    [InlineData("hazel-row", false)]
    public async Task A_browser_of_a_key_of_one_site_is_told_of_that_site_alone_and_keeps_no_other_mail_back(string site, bool isTold)
    {
        await using var phone = await Phone.HeldAsync();
        phone.Rig.Put(SampleSite.Json("hazel-row", "fu-2", "Hazel Row"));
        phone.Subscribe(site);
        await phone.AlertAsync();
        Assert.Equal((isTold ? 1 : 0, isTold ? 0 : 1), (phone.Service.Bodies.Count, phone.Mails.Count));
    }

    [Fact]
    public async Task A_browser_goes_with_the_key_that_subscribed_it_and_what_it_shows_then_keeps_no_mail_back()
    {
        await using var phone = await Phone.HeldAsync();
        phone.Rig.Ledger.AddKey(KeyName, "caretaker", null);
        var receipt = (await phone.AlertAsync())!.Value.GetProperty("receipt").GetString()!;
        Assert.True(phone.Rig.Ledger.RevokeKey(KeyName));
        Assert.Empty(phone.Subscribers);
        Assert.False(phone.Receive(receipt));
        Assert.Null(Assert.Single(phone.Rig.Ledger.ListOutbox(null, 10)).SentAt);
    }

    /// <summary>RFC 8291, 4: push services take 4096 bytes. A letter of an Indic script is 3 bytes in UTF-8 and 6 when JSON escapes it.</summary>
    [Fact]
    public async Task The_longest_text_in_another_script_fits_into_a_message()
    {
        await using var phone = await Phone.HeldAsync();
        await phone.AlertAsync();
        var letter = Assert.Single(phone.Rig.Ledger.ListOutbox(null, 10));
        var alert = letter.Letter.Notification.Alert;
        var wordy = Phrase.Literal(new string('த', 2000));
        var notice = letter.Letter.Notification with { Alert = alert with { Finding = alert.Finding with { Text = alert.Finding.Text with { Summary = wordy } } } };
        var push = new DuePush(letter with { Mail = letter.Letter with { Notification = notice, SiteName = new string('த', 300) } }, new string('x', 22), []);
        var content = PushContent.Of(push, phone.Subscribers[0], new(phone.Rig.Ledger, () => null));
        Assert.Contains(new string('த', 390), content, StringComparison.Ordinal);
        const int Sealing = 86 + 1 + 16; // RFC 8188, 2.1: salt, record size, key; 2: the mark of the last record; the tag of AEAD_AES_128_GCM.
        Assert.InRange(Encoding.UTF8.GetByteCount(content) + Sealing, 1000, 4096);
    }

    /// <summary>RFC 8291, appendix A: the keys and the message of its example open to its text. Values typed from memory [M].</summary>
    [Fact]
    public void The_example_of_the_standard_opens()
    {
        using var pair = ECDiffieHellman.Create(new ECParameters
        {
            Curve = ECCurve.NamedCurves.nistP256, D = Base64Url.DecodeFromChars("q1dXpw3UpT5VOmu_cf_v6ih07Aems3njxI-JWgLcM94"),
        });
        using var browser = new Browser(pair, Base64Url.DecodeFromChars("BTBZMqHH6r4Tts7J_aSIgg"));
        Assert.Equal("When I grow up, I want to be a watermelon", browser.Open(Base64Url.DecodeFromChars(
            "DGv6ra1nlYgDCS1FRnbzlwAAEABBBP4z9KsN6nGRTbVYI_c7VJSPQTBtkgcy27mlmlMoZIIgDll6e3vCYLocInmYWAmS6TlzAC8wEqKK6PBru3jl7A_yl95bQpu6cVPTpK4Mqgkf1CXztLVBSt2Ks3oZwbuwXPXLWyouBWLVWGNWQexSgSxsj_Qulcy4a-fN")));
    }

    /// <summary>A push service (RFC 8030).</summary>
    private sealed class Service : IAsyncDisposable
    {
        private readonly Webhooks.Target target;

        private Service(Webhooks.Target target) => this.target = target;

        public string Url => target.Url + "/push/abc";
        public HttpStatusCode Status { get; set; } = HttpStatusCode.Created;
        public IReadOnlyList<byte[]> Bodies => [.. target.Requests.Select(request => request.Bytes)];
        public IReadOnlyList<IHeaderDictionary> Headers => [.. target.Requests.Select(request => request.Headers)];

        public static async Task<Service> StartAsync()
        {
            Service? service = null;
            return service = new(await Webhooks.Target.StartAsync(context => context.Response.StatusCode = (int)service!.Status));
        }

        public ValueTask DisposeAsync() => target.DisposeAsync();
    }
}
