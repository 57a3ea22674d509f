using System.Net;
using TankWatch.Service.Mail;
using TankWatch.Service.Tests.Api;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Pages;

public sealed class LinkPageTests(Served service) : IClassFixture<Served>
{
    private const string Form = "application/x-www-form-urlencoded";
    private const string OneClick = "List-Unsubscribe=One-Click";

    private static readonly TimeSpan Day = TimeSpan.FromDays(1);

    private static string PathOf(string? address) => address![Served.PublicUrl.Length..];

    private MailLinks Links => new(service.Ledger, () => Served.PublicUrl);

    private async Task<(string Alert, string Letter)> RaisedAsync()
    {
        var site = await service.AddSiteAsync();
        var alert = await site.RaiseAsync();
        await Eventually.Holds(() => service.Ledger.ListLettersOf(alert).Count > 0, "the letter");
        return (alert, service.Ledger.ListLettersOf(alert)[0].Key);
    }

    private string? AcknowledgedBy(string alert) => service.Ledger.FindAlert(alert)!.AcknowledgedBy;

    /// <summary>Without the frame, whose foot has the languages.</summary>
    private static string WithoutFrame(string page) => page[page.IndexOf("<main", StringComparison.Ordinal)..page.IndexOf("</main>", StringComparison.Ordinal)];

    [Fact]
    public async Task Opening_a_link_changes_nothing_and_its_button_acknowledges_as_the_person_who_was_sent_it()
    {
        var (alert, letter) = await RaisedAsync();
        var path = PathOf(Links.AcknowledgeAddress(letter, TimeProvider.System.GetUtcNow()));
        foreach (var method in (string[])["GET", "HEAD", "GET"])
        {
            Assert.Equal(HttpStatusCode.OK, (await service.SendAsync(method, path, key: null)).Status);
        }

        var page = WithoutFrame((await service.SendAsync("GET", path, key: null)).Text);
        Assert.Null(AcknowledgedBy(alert));
        Assert.Contains("Do you know of this alert?", page, StringComparison.Ordinal);
        Assert.Contains("Alder Row", page, StringComparison.Ordinal);
        Assert.Equal((1, 1), (page.Split("<button").Length - 1, page.Split("<form").Length - 1));

        var done = await service.SendAsync("POST", path, key: null, "known=yes", Form);
        Assert.Equal((HttpStatusCode.OK, "Caretaker"), (done.Status, AcknowledgedBy(alert)));
        Assert.Contains("Acknowledged by Caretaker.", done.Text, StringComparison.Ordinal);
        Assert.DoesNotContain("<button", WithoutFrame(done.Text), StringComparison.Ordinal);
        Assert.Equal(HttpStatusCode.OK, (await service.SendAsync("POST", path, key: null, "known=yes", Form)).Status); // Twice does no harm.
    }

    [Fact]
    public async Task What_somebody_put_aside_is_not_called_over()
    {
        var (alert, letter) = await RaisedAsync();
        var until = TimeProvider.System.GetUtcNow().AddHours(1).ToString("O", System.Globalization.CultureInfo.InvariantCulture);
        Assert.Equal(HttpStatusCode.OK, (await service.SendAsync("POST", $"/api/v1/alerts/{alert}/shelve", service.Key, $$"""{ "until": "{{until}}", "reason": "the fitter is here" }""")).Status);
        var page = WithoutFrame((await service.SendAsync("GET", PathOf(Links.AcknowledgeAddress(letter, TimeProvider.System.GetUtcNow())), key: null)).Text);
        Assert.DoesNotContain("It is over", page, StringComparison.Ordinal);
        Assert.Contains("There is nothing to acknowledge now, and it is not known to be over: it was put aside, or another alert explains it.", page, StringComparison.Ordinal);
        Assert.DoesNotContain("<button", page, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_link_that_is_over_altered_or_for_something_else_does_nothing_and_says_so()
    {
        var (alert, letter) = await RaisedAsync();
        var now = TimeProvider.System.GetUtcNow();
        var old = await service.SendAsync("POST", PathOf(Links.AcknowledgeAddress(letter, now - (7 * Day))), key: null, "", Form);
        Assert.Equal(HttpStatusCode.Gone, old.Status);
        Assert.Contains("seven days, which are over", old.Text, StringComparison.Ordinal);

        var good = PathOf(Links.AcknowledgeAddress(letter, now));
        var other = PathOf(Links.UnsubscribeAddress("caretaker@example.org"));
        string[] wrong = [.. Enumerable.Range(4, 6).Select(i => good[..i] + (good[i] == 'A' ? 'B' : 'A') + good[(i + 1)..]), good[..^1], "/a/" + other[3..], "/u/" + good[3..], "/a/x", "/u/%20"];
        foreach (var path in wrong)
        {
            var answer = await service.SendAsync("POST", path, key: null, OneClick, Form);
            Assert.True(answer.Status == HttpStatusCode.NotFound, $"{path}: {answer.Status}");
            Assert.Contains("This link leads nowhere", answer.Text, StringComparison.Ordinal);
        }

        Assert.Null(AcknowledgedBy(alert));
        Assert.False(service.Ledger.HasDeclined("caretaker@example.org"));
    }

    [Fact]
    public async Task Wrong_links_are_limited_and_a_right_one_works_on()
    {
        var own = new Served();
        await using (own)
        {
            await own.InitializeAsync();
            for (var i = 0; i < 20; i++)
            {
                Assert.Equal(HttpStatusCode.NotFound, (await own.SendAsync("GET", $"/a/wrong{i}", key: null)).Status);
            }

            Assert.Equal(HttpStatusCode.TooManyRequests, (await own.SendAsync("POST", "/u/wrong", key: null, OneClick, Form)).Status);
            var path = PathOf(new MailLinks(own.Ledger, () => Served.PublicUrl).UnsubscribeAddress("ann@example.org"));
            Assert.Equal(HttpStatusCode.OK, (await own.SendAsync("GET", path, key: null)).Status);
        }
    }

    [Theory]
    [InlineData("multipart/form-data", "no boundary")]
    [InlineData(Form, "")]
    public async Task A_form_that_cannot_be_read_is_the_clients_fault(string type, string body)
    {
        var path = PathOf(Links.UnsubscribeAddress("somebody@example.org"));
        var many = body.Length > 0 ? body : string.Concat(Enumerable.Repeat("a=1&", 3000));
        (await service.SendAsync("POST", path, key: null, many, type)).IsProblem(HttpStatusCode.BadRequest);
        Assert.False(service.Ledger.HasDeclined("somebody@example.org"));
    }

    /// <remarks>RFC 8058 [M; CHECKS J1]: a POST with that one field, without cookies, is all it takes; a GET must do nothing.</remarks>
    [Fact]
    public async Task One_click_stops_what_is_not_critical_and_the_same_page_undoes_it()
    {
        var own = new Served();
        await using (own)
        {
            await own.InitializeAsync();
            var site = await own.AddSiteAsync();
            var path = PathOf(new MailLinks(own.Ledger, () => Served.PublicUrl).UnsubscribeAddress("caretaker@example.org"));
            var page = await own.SendAsync("GET", path, key: null);
            Assert.Contains("Critical alerts still come.", page.Text, StringComparison.Ordinal);
            await own.SendAsync("POST", path, key: null, "", Form);
            Assert.False(own.Ledger.HasDeclined("caretaker@example.org"));

            var done = await own.SendAsync("POST", path, key: null, OneClick, Form);
            Assert.Equal(HttpStatusCode.OK, done.Status);
            Assert.Contains("nothing but critical alerts goes to caretaker@example.org", done.Text, StringComparison.Ordinal);
            Assert.True(own.Ledger.HasDeclined("Caretaker@example.org"));
            await own.Directory.RefreshAsync(TestContext.Current.CancellationToken);
            var alert = await site.RaiseAsync();
            await Eventually.Holds(() => own.Ledger.FindAlert(alert)!.NotifiedAt is not null, "the notice");
            Assert.Empty(own.Ledger.ListLettersOf(alert));

            Assert.Contains("hears again", (await own.SendAsync("POST", path, key: null, "undo=yes", Form)).Text, StringComparison.Ordinal);
            Assert.False(own.Ledger.HasDeclined("caretaker@example.org"));
        }
    }

    [Fact]
    public async Task Mails_that_are_critical_offer_no_way_to_stop_them_and_others_one_click_where_there_is_tls()
    {
        await using var rig = Rig.New();
        foreach (var (url, priority, unsubscribe, post) in new[]
        {
            ("https://water.example", Core.Findings.Priority.Medium, true, true), ("http://water.example", Core.Findings.Priority.Medium, true, false),
            ("https://water.example", Core.Findings.Priority.Critical, false, false),
        })
        {
            var links = new MailLinks(rig.Ledger, () => url);
            var letter = Tests.Mail.Letters.OfMany(rig, 1, "ann@example.org", priority: priority);
            using var mail = rig.Composer.TryCompose(MailWords.Of(letter, [], Rig.Noon, links), out _)!;
            Assert.Equal((unsubscribe, post), (mail.Headers["List-Unsubscribe"] == $"<{links.UnsubscribeAddress("ann@example.org")}>", mail.Headers["List-Unsubscribe-Post"] is not null));
            Assert.Contains(links.AcknowledgeAddress(letter.Key, Rig.Noon)!, mail.TextBody, StringComparison.Ordinal);
        }
    }
}
