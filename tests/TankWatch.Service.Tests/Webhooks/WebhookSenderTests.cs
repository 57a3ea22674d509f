using System.Diagnostics;
using TankWatch.Service.Tests.Sites;
using TankWatch.Service.Webhooks;
using Xunit;

namespace TankWatch.Service.Tests.Webhooks;

/// <summary>All targets at once, by the clock of the machine.</summary>
public sealed class WebhookSenderTests
{
    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    [Fact]
    public async Task Nobody_waits_for_a_target_that_hangs_or_answers_500_and_the_library_takes_every_signature()
    {
        const int Events = 40;
        await using var rig = HookRig.New(TimeProvider.System);
        await using var hanging = await Target.StartAsync();
        hanging.Hang();
        await using var failing = await Target.StartAsync(Target.Says(500));
        await using var one = await Target.StartAsync();
        await using var two = await Target.StartAsync();
        await using var three = await Target.StartAsync();
        rig.Add(hanging);
        rig.Add(failing);
        var well = ((Target[])[one, two, three]).Select(target => (Target: target, Hook: rig.Add(target))).ToList();
        using var sender = rig.Sender();
        await sender.StartAsync(Stop);
        var began = Stopwatch.GetTimestamp();
        for (var n = 0; n < Events; n++)
        {
            rig.Note($"{n}");
        }

        await Eventually.Holds(() => well.All(w => w.Target.Requests.Count >= Events), "the events at those that are well", WebhookCaller.Patience);
        Assert.True(Stopwatch.GetElapsedTime(began) < WebhookCaller.Patience, "they came only after the hanging one was left");
        Assert.Single(hanging.Requests);
        Assert.Single(failing.Requests.Select(request => request.Id).Distinct());
        foreach (var (target, hook) in well)
        {
            Assert.Equal(
                Enumerable.Range(0, Events).Select(n => $"{n}"),
                target.Requests.Select(request => request.Json.GetProperty("data").GetProperty("event").GetProperty("note").GetString()));
            Assert.Equal(Events, target.Requests.Select(request => request.Id).Distinct().Count());
            Assert.All(target.Requests, request => request.Verify(hook.Secret));
        }

        await sender.StopAsync(Stop); // What hangs does not hold up the end.
    }

    [Fact]
    public async Task Targets_that_fail_leave_places_for_those_that_are_well()
    {
        using var places = new WebhookPlaces();
        var ailing = Enumerable.Range(0, 50).Select(_ => places.EnterAsync(isAiling: true, Stop)).ToList();
        Assert.Equal(4, ailing.Count(entered => entered.IsCompleted));
        var well = Enumerable.Range(0, 20).Select(_ => places.EnterAsync(isAiling: false, Stop)).ToList();
        Assert.Equal(16, well.Count(entered => entered.IsCompleted));
        (await well[0]).Dispose();
        (await well[16]).Dispose();
    }

    [Fact]
    public async Task After_a_rotation_both_secrets_verify_and_a_webhook_that_is_removed_hears_no_more()
    {
        await using var rig = HookRig.New(TimeProvider.System);
        await using var target = await Target.StartAsync();
        using var sender = rig.Sender();
        await sender.StartAsync(Stop);
        var hook = rig.Add(target); // While it runs, as another process adds one.
        var fresh = WebhookSignature.NewSecret();
        Assert.True(rig.Ledger.RotateWebhook(hook.Id, fresh, TimeProvider.System.GetUtcNow().AddHours(24)));
        rig.Note("one");
        await Eventually.Holds(() => target.Requests.Count == 1, "the event");
        target.Requests.First().Verify(hook.Secret);
        target.Requests.First().Verify(fresh);

        await using var other = await Target.StartAsync();
        rig.Ledger.RemoveWebhook(hook.Id);
        rig.Add(other);
        rig.Note("two");
        await Eventually.Holds(() => other.Requests.Count == 1, "the event at the other");
        Assert.Single(target.Requests);
        await sender.StopAsync(Stop);
    }

    [Fact]
    public async Task A_worker_that_ended_by_a_fault_is_replaced_and_its_target_misses_nothing()
    {
        await using var rig = HookRig.New();
        await using var target = await Target.StartAsync();
        var hook = rig.Add(target);
        rig.Note("one");
        var whole = rig.Newest();
        rig.Overwrite("{");
        await Assert.ThrowsAnyAsync<System.Text.Json.JsonException>(() => rig.Worker(hook).RunAsync(Stop)); // It does end one.
        using var sender = rig.Sender();
        await sender.StartAsync(Stop);
        await Eventually.Holds(() => { rig.Pass(TimeSpan.FromSeconds(1)); return sender.Replaced > 0; }, "the worker to be replaced");
        rig.Overwrite(whole);
        await Eventually.Holds(() => { rig.Pass(TimeSpan.FromSeconds(1)); return target.Requests.Count == 1; }, "the event");
        await sender.StopAsync(Stop);
    }

    [Fact]
    public async Task A_secret_whose_time_is_over_is_forgotten()
    {
        await using var rig = HookRig.New();
        var hook = rig.Add("http://127.0.0.1:9/");
        using var sender = rig.Sender();
        await sender.StartAsync(Stop);
        Assert.True(rig.Ledger.RotateWebhook(hook.Id, WebhookSignature.NewSecret(), rig.Now.AddHours(24)));
        await Eventually.Comes(Turned, former => former is null, "the end of the former secret");
        Assert.True(rig.Now - hook.CreatedAt >= TimeSpan.FromHours(24));
        await sender.StopAsync(Stop);

        Task<string?> Turned()
        {
            rig.Pass(TimeSpan.FromHours(3));
            return Task.FromResult(rig.Ledger.FindWebhook(hook.Id)!.FormerSecret);
        }
    }
}
