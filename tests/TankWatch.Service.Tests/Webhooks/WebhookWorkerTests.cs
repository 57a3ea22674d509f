using System.Text.Json;
using TankWatch.Core;
using TankWatch.Service.Configuration;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.Mail;
using TankWatch.Service.Tests.Sites;
using TankWatch.Service.Webhooks;
using Xunit;

namespace TankWatch.Service.Tests.Webhooks;

/// <summary>One target, step by step, against a real server and by a clock that only the test turns.</summary>
public sealed class WebhookWorkerTests
{
    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    [Fact]
    public async Task Events_since_the_webhook_was_added_come_once_in_order_as_the_API_tells_them()
    {
        await using var target = await Target.StartAsync();
        await using var rig = HookRig.New();
        rig.Note("before");
        var hook = rig.Add(target);
        var worker = rig.Worker(hook);
        rig.Note("one", "two");
        Assert.True((await HookRig.DrainAsync(worker))!.ForNews);
        await HookRig.DrainAsync(worker);
        Assert.Equal(["one", "two"], Notes(target));
        var first = target.Requests.First();
        Assert.Equal(("alert.noted", "application/json"), (first.Type, first.Headers.ContentType.ToString()));
        Assert.Equal("2026-03-02T12:00:00.000Z", first.Json.GetProperty("timestamp").GetString());
        Assert.Equal("Meera", first.Json.GetProperty("data").GetProperty("event").GetProperty("by").GetString());
        Assert.Equal(hook.Cursor + 2, rig.Ledger.FindWebhook(hook.Id)!.Cursor);
        var alert = first.Json.GetProperty("data").GetProperty("alert");
        Assert.Equal(rig.Ledger.ListDeliveries(hook.Id, null, long.MaxValue, 1)[0].Alert, alert.GetProperty("id").GetString());
        Assert.NotEqual("", alert.GetProperty("summary").GetString());
    }

    [Fact]
    public async Task A_webhook_of_one_site_is_told_of_that_site_alone()
    {
        await using var target = await Target.StartAsync();
        await using var rig = HookRig.New();
        Assert.Equal("there is no site nowhere", rig.Ledger.AddWebhook("wh_x", target.Url, new SiteId("nowhere"), "s", default));
        var site = rig.Ledger.ListAlerts(new(null, null, null, null, null), null, 1)[0].Site;
        var (own, other) = (rig.Add(target, site), rig.AddWithSite("birch-row", target));
        rig.Note("one");
        await HookRig.DrainAsync(rig.Worker(other));
        Assert.Empty(target.Requests);
        await HookRig.DrainAsync(rig.Worker(own));
        Assert.Single(target.Requests);
    }

    [Fact]
    public async Task What_fails_is_tried_again_under_the_same_id_after_a_restart_too_and_nothing_overtakes_it()
    {
        await using var target = await Target.StartAsync(Target.Says(500));
        await using var first = HookRig.New();
        var hook = first.Add(target);
        first.Note("one", "two");
        var worker = first.Worker(hook);
        await HookRig.DrainAsync(worker);
        Assert.Single(target.Requests);
        await first.RetryAsync(worker);
        Assert.Equal(2, target.Requests.Count);

        await using var rig = await first.AgainAsync();
        worker = rig.Worker(hook);
        Assert.False((await HookRig.DrainAsync(worker))!.ForNews); // A restart does not shorten the wait.
        Assert.Equal(2, target.Requests.Count);
        target.Answer = context => Task.CompletedTask;
        await rig.RetryAsync(worker);
        Assert.Equal(["one", "one", "one", "two"], Notes(target));
        Assert.Equal(2, target.Requests.Select(request => request.Id).Distinct().Count());
        Assert.Single(target.Requests.Take(3).Select(request => request.Id).Distinct());
        Assert.Equal(
            [("delivered", 1), ("delivered", 3)], rig.Ledger.ListDeliveries(hook.Id, null, long.MaxValue, 9).Select(d => (d.State, d.Attempts)));
    }

    [Fact]
    public async Task One_event_has_another_id_for_each_target()
    {
        await using var target = await Target.StartAsync();
        await using var rig = HookRig.New();
        var (a, b) = (rig.Add(target), rig.Add(target));
        rig.Note("one");
        await HookRig.DrainAsync(rig.Worker(a));
        await HookRig.DrainAsync(rig.Worker(b));
        Assert.Equal(2, target.Requests.Select(request => request.Id).Distinct().Count());
        Assert.All(target.Requests, request => Assert.Matches("^msg_[0-9a-f]{32}$", request.Id));
    }

    [Fact]
    public async Task A_target_that_hangs_is_left_after_fifteen_seconds()
    {
        await using var target = await Target.StartAsync();
        target.Hang();
        await using var rig = HookRig.New();
        var hook = rig.Add(target);
        rig.Note("one");
        var step = rig.Worker(hook).StepAsync(Stop);
        await Eventually.Holds(() => !target.Requests.IsEmpty, "the request");
        rig.Pass(TimeSpan.FromSeconds(14.9));
        Assert.False(step.IsCompleted);
        rig.Pass(TimeSpan.FromSeconds(0.1));
        await step.WaitAsync(TimeSpan.FromSeconds(30), TimeProvider.System, Stop);
        Assert.Equal("no answer within 15 s", Assert.Single(Failing(rig, hook)).Detail);
    }

    [Fact]
    public async Task After_five_failures_the_circuit_opens_one_try_shows_how_the_target_is_and_success_closes_it()
    {
        await using var target = await Target.StartAsync(Target.Says(503));
        await using var rig = HookRig.New();
        var hook = rig.Add(target);
        var worker = rig.Worker(hook);
        rig.Note("one", "two");
        await HookRig.DrainAsync(worker);
        var waits = new List<double>();
        for (var failures = 1; failures <= 9; failures++)
        {
            Assert.Equal(failures, target.Requests.Count); // One try each time, of one event.
            Assert.Equal(failures < 5 ? "closed" : "open", Circuit(rig, hook));
            var wait = (await worker.StepAsync(Stop))!.Wait;
            waits.Add(wait.TotalSeconds);
            rig.Pass(wait - TimeSpan.FromMilliseconds(1));
            await HookRig.DrainAsync(worker);
            Assert.Equal(failures, target.Requests.Count);
            rig.Pass(TimeSpan.FromMilliseconds(1));
            Assert.Equal(failures < 5 ? "closed" : "half-open", Circuit(rig, hook));
            await HookRig.DrainAsync(worker);
        }

        Assert.All(waits.Zip([5, 10, 20, 40, 120, 240, 480, 900, 900]), pair => Assert.InRange(pair.First, pair.Second * 0.75, pair.Second * 1.25));
        target.Answer = _ => Task.CompletedTask;
        await rig.RetryAsync(worker);
        Assert.Equal(("closed", WebhookFailing.Not), (Circuit(rig, hook), rig.Ledger.FindWebhook(hook.Id)!.Failing));
        Assert.Equal(["one", "two"], Notes(target).TakeLast(2));
    }

    [Fact]
    public void Targets_that_failed_together_do_not_come_back_together() => Assert.True(
        Enumerable.Range(0, 50).Select(n => WebhookRetry.WaitAfter(1, $"msg_{n}", null)).Distinct().Count() > 40);

    [Fact]
    public async Task An_event_that_is_refused_again_and_again_is_set_aside_with_the_reason_and_the_next_goes_on()
    {
        await using var target = await Target.StartAsync();
        target.Answer = context =>
        {
            var poison = target.Requests.Last().Body.Contains("poison", StringComparison.Ordinal);
            context.Response.StatusCode = poison ? 422 : 204;
            return poison ? context.Response.Body.WriteAsync("no\nsuch thing"u8.ToArray()).AsTask() : Task.CompletedTask;
        };
        await using var rig = HookRig.New();
        var hook = rig.Add(target);
        var worker = rig.Worker(hook);
        rig.Note("poison", "two");
        await HookRig.DrainAsync(worker);
        for (var tries = 1; tries < 5; tries++)
        {
            Assert.Equal("closed", Circuit(rig, hook));
            await rig.RetryAsync(worker);
        }

        Assert.Equal(["poison", "poison", "poison", "poison", "poison", "two"], Notes(target));
        var aside = Assert.Single(rig.Ledger.ListDeliveries(hook.Id, "set-aside", long.MaxValue, 9));
        Assert.Equal((5, 422, "answered 422: no such thing"), (aside.Attempts, aside.Status, aside.Detail));
        Assert.Equal(WebhookFailing.Not, rig.Ledger.FindWebhook(hook.Id)!.Failing);
    }

    [Theory]
    [InlineData(408)]
    [InlineData(425)]
    [InlineData(429)]
    [InlineData(500)]
    [InlineData(302)]
    public async Task What_may_pass_is_never_set_aside(int status)
    {
        await using var target = await Target.StartAsync(Target.Says(status));
        await using var rig = HookRig.New();
        var hook = rig.Add(target);
        var worker = rig.Worker(hook);
        rig.Note("one");
        await HookRig.DrainAsync(worker);
        for (var tries = 1; tries < 12; tries++)
        {
            await rig.RetryAsync(worker);
        }

        Assert.Equal(12, Assert.Single(Failing(rig, hook)).Attempts);
    }

    [Fact]
    public async Task A_redirect_is_not_followed()
    {
        await using var inner = await Target.StartAsync();
        await using var target = await Target.StartAsync(context => (context.Response.StatusCode, context.Response.Headers.Location) = (307, inner.Url));
        await using var rig = HookRig.New();
        var hook = rig.Add(target);
        rig.Note("one");
        await HookRig.DrainAsync(rig.Worker(hook));
        Assert.Empty(inner.Requests);
        Assert.Contains("redirects are not followed", Assert.Single(Failing(rig, hook)).Detail, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_target_that_is_gone_for_good_is_disabled()
    {
        await using var target = await Target.StartAsync(Target.Says(410));
        await using var rig = HookRig.New();
        var hook = rig.Add(target);
        var worker = rig.Worker(hook);
        rig.Note("one", "two");
        Assert.Null(await HookRig.DrainAsync(worker));
        rig.Pass(TimeSpan.FromDays(1));
        Assert.Null(await HookRig.DrainAsync(worker));
        Assert.Single(target.Requests);
        Assert.Equal("the target answered 410 Gone", rig.Ledger.FindWebhook(hook.Id)!.DisabledWhy);
    }

    [Fact]
    public async Task A_target_that_takes_nothing_for_five_days_is_disabled()
    {
        await using var rig = HookRig.New();
        var hook = rig.Add($"http://127.0.0.1:{MailServer.FreePort()}/");
        var worker = rig.Worker(hook);
        rig.Note("one");
        var (step, tries) = (await HookRig.DrainAsync(worker), 1);
        for (; step is not null; tries++)
        {
            Assert.True(rig.Now - hook.CreatedAt < TimeSpan.FromDays(5));
            step = await rig.RetryAsync(worker);
        }

        Assert.InRange(tries, 5 * 24 * 60 / 15 * 0.8, (5 * 24 * 60 / 15 * 1.35) + 10);
        Assert.StartsWith("nothing was taken for 5 days; at last: no connection", rig.Ledger.FindWebhook(hook.Id)!.DisabledWhy, StringComparison.Ordinal);
    }

    [Fact]
    public async Task One_failure_after_days_in_which_nothing_happened_disables_nobody()
    {
        await using var target = await Target.StartAsync(Target.Says(400));
        await using var rig = HookRig.New();
        var hook = rig.Add(target);
        var worker = rig.Worker(hook);
        rig.Note("one");
        await HookRig.DrainAsync(worker);
        for (var tries = 1; tries < 5; tries++)
        {
            await rig.RetryAsync(worker);
        }

        rig.Pass(TimeSpan.FromDays(6));
        rig.Note("two");
        Assert.NotNull(await HookRig.DrainAsync(worker));
        target.Answer = _ => Task.CompletedTask;
        await rig.RetryAsync(worker);
        Assert.Equal(WebhookFailing.Not, rig.Ledger.FindWebhook(hook.Id)!.Failing);
    }

    [Theory]
    [InlineData("120", 120)]
    [InlineData("Mon, 02 Mar 2026 12:03:00 GMT", 180)]
    [InlineData("86400", 3600)]
    [InlineData("0", 3.75)]
    [InlineData("-5", 3.75)]
    [InlineData("Mon, 02 Mar 2026 11:00:00 GMT", 3.75)]
    [InlineData("soon", 3.75)]
    public async Task A_target_may_ask_for_a_time_to_be_left_in_peace_within_bounds(string retryAfter, double least)
    {
        await using var target = await Target.StartAsync(context => (context.Response.StatusCode, context.Response.Headers.RetryAfter) = (429, retryAfter));
        await using var rig = HookRig.New();
        var hook = rig.Add(target);
        rig.Note("one");
        var step = await HookRig.DrainAsync(rig.Worker(hook));
        Assert.InRange(step!.Wait.TotalSeconds, least, least > 10 ? least : 6.25);
    }

    [Fact]
    public async Task Of_an_answer_without_end_only_the_beginning_is_read_and_less_is_kept()
    {
        await using var target = await Target.StartAsync();
        target.Answer = async context =>
        {
            context.Response.StatusCode = 500;
            var part = new byte[4096];
            Array.Fill(part, (byte)'x');
            while (!context.RequestAborted.IsCancellationRequested)
            {
                await context.Response.Body.WriteAsync(part, context.RequestAborted);
            }
        };
        await using var rig = HookRig.New();
        var hook = rig.Add(target);
        rig.Note("one");
        await HookRig.DrainAsync(rig.Worker(hook));
        var detail = Assert.Single(Failing(rig, hook)).Detail;
        Assert.StartsWith("answered 500: xxx", detail, StringComparison.Ordinal);
        Assert.Equal(200, detail.Length);
    }

    [Fact]
    public async Task By_default_a_target_on_this_machine_is_not_asked_nor_one_without_tls()
    {
        await using var target = await Target.StartAsync();
        await using (var rig = HookRig.New(options: new WebhookOptions { AllowHttp = true }))
        {
            var hook = rig.Add($"http://localhost:{new Uri(target.Url).Port}/");
            rig.Note("one");
            await HookRig.DrainAsync(rig.Worker(hook));
            Assert.Equal("no connection: the host localhost has no public address", Assert.Single(Failing(rig, hook)).Detail);
        }

        await using (var rig = HookRig.New(options: new WebhookOptions { AllowPrivateTargets = true }))
        {
            var hook = rig.Add(target);
            rig.Note("one");
            await HookRig.DrainAsync(rig.Worker(hook));
            Assert.Contains("https://", Assert.Single(Failing(rig, hook)).Detail, StringComparison.Ordinal);
        }

        Assert.Empty(target.Requests);
    }

    [Fact]
    public async Task A_webhook_that_is_removed_while_an_event_is_under_way_leaves_nothing_behind()
    {
        await using var target = await Target.StartAsync();
        await using var rig = HookRig.New();
        var hook = rig.Add(target);
        target.Answer = _ =>
        {
            Assert.True(rig.Ledger.RemoveWebhook(hook.Id));
            return Task.CompletedTask;
        };
        rig.Note("one");
        Assert.Null(await HookRig.DrainAsync(rig.Worker(hook)));
        Assert.Empty(rig.Ledger.ListDeliveries(hook.Id, null, long.MaxValue, 9));
    }

    [Fact]
    public async Task Of_the_events_that_were_delivered_the_last_five_hundred_are_remembered()
    {
        await using var target = await Target.StartAsync();
        await using var rig = HookRig.New();
        var hook = rig.Add(target);
        rig.Note([.. Enumerable.Range(0, 503).Select(n => $"{n}")]);
        await HookRig.DrainAsync(rig.Worker(hook));
        Assert.Equal(503, target.Requests.Count);
        var kept = rig.Ledger.ListDeliveries(hook.Id, "delivered", long.MaxValue, 1000);
        Assert.Equal((500, hook.Cursor + 503), (kept.Count, kept[0].Position));
    }

    private static IEnumerable<string?> Notes(Target target) => target.Requests.Select(request =>
        request.Json.GetProperty("data").GetProperty("event").GetProperty("note") is { ValueKind: JsonValueKind.String } note ? note.GetString() : null);

    private static string Circuit(HookRig rig, Webhook hook) => WebhookRetry.Circuit(rig.Ledger.FindWebhook(hook.Id)!.Failing, rig.Now);

    private static IReadOnlyList<WebhookDelivery> Failing(HookRig rig, Webhook hook) => rig.Ledger.ListDeliveries(hook.Id, "failing", long.MaxValue, 9);
}
