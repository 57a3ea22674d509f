using System.Text.Json;
using Microsoft.Playwright;
using TankWatch.Browser.Tests.Browsing;
using TankWatch.Browser.Tests.Services;

namespace TankWatch.Browser.Tests.Notifications;

/// <summary>A visit of a browser that may show notifications. The page, its worker and the notices are the browser's own.</summary>
/// <remarks>
/// Only the subscription is made up: Chromium subscribes at a push service of the open internet, and in a private profile not at all. What that
/// service would deliver, the DevTools protocol hands to the real worker.
/// </remarks>
internal sealed class Phone(Visit visit, string url)
{
    private const string MadeUp =
        """
        (() => {
          const given = GIVEN, name = 'subscribed-with';
          const make = () => ({ ...given, toJSON: () => given, unsubscribe: async () => { localStorage.removeItem(name); return true; } });
          PushManager.prototype.getSubscription = async () => localStorage.getItem(name) ? make() : null;
          PushManager.prototype.subscribe = async options => {
            if (!options.userVisibleOnly) throw new Error('a browser takes no message that it does not show');
            localStorage.setItem(name, options.applicationServerKey);
            return make();
          };
        })();
        """;

    public IPage Page => visit.Page;

    public static async Task<Phone> HeldAsync(Visit visit, string url, PushService pushService)
    {
        await visit.Page.Context.GrantPermissionsAsync(["notifications"], new() { Origin = url });
        var given = JsonSerializer.Serialize(new { endpoint = pushService.Endpoint, keys = new { p256dh = pushService.Browser.P256dh, auth = pushService.Browser.Auth } });
        await visit.Page.Context.AddInitScriptAsync(MadeUp.Replace("GIVEN", given, StringComparison.Ordinal));
        return new(visit, url);
    }

    public async Task SubscribeAsync(string email)
    {
        await visit.OpenAsync(url + "/notifications");
        await Page.Locator("#email").FillAsync(email);
        await Page.Locator("#name").FillAsync("Her phone");
        await Page.GetByRole(AriaRole.Button, new() { Name = "Show alerts on this device" }).ClickAsync();
    }

    public Task LookAsync(Look look) => visit.LookAsync(look);

    /// <summary>What a push service does, from the browser's side.</summary>
    public async Task DeliverAsync(string message)
    {
        var session = await Page.Context.NewCDPSessionAsync(Page);
        var registered = new TaskCompletionSource<string>(TaskCreationOptions.RunContinuationsAsynchronously);
        session.Event("ServiceWorker.workerRegistrationUpdated").OnEvent += (_, e) =>
        {
            foreach (var registration in e!.Value.GetProperty("registrations").EnumerateArray().Where(one => !one.GetProperty("isDeleted").GetBoolean()))
            {
                registered.TrySetResult(registration.GetProperty("registrationId").GetString()!);
            }
        };
        await session.SendAsync("ServiceWorker.enable");
        var id = await registered.Task.WaitAsync(TimeSpan.FromMilliseconds(Patience.PageMilliseconds));
        await session.SendAsync("ServiceWorker.deliverPushMessage", new() { ["origin"] = url + "/", ["registrationId"] = id, ["data"] = message });
        await session.DetachAsync();
    }

    /// <summary>What stands on the screen, as title, text, language, whether it stays there, and its buttons, once there is something.</summary>
    /// <remarks>Asked of the worker: the page looks again by itself when a notice was shown, and takes its own answer with it.</remarks>
    public async Task<string[]> NoticesAsync() => JsonSerializer.Deserialize<string[]>(await Eventually.Comes(
        () => InWorkerAsync(
            "registration.getNotifications().then(all => JSON.stringify(all.map(n => [n.title, n.body, n.lang, n.requireInteraction ? 'stays' : 'goes', ...n.actions.map(a => a.title)].join(' | '))))"),
        notices => notices != "[]", "a notice"))!;

    /// <summary>Taps the newest notice.</summary>
    /// <remarks>A tap cannot be made from outside: the worker is given its event, and says which window it would open, as only a tap allows one.</remarks>
    /// <returns>The address.</returns>
    public Task<string> TapAsync() => InWorkerAsync(Tap("opened", ""));

    /// <summary>Taps its button.</summary>
    public Task AcknowledgeAsync() => InWorkerAsync(Tap("undefined", "acknowledge"));

    private static string Tap(string answer, string action) =>
        $$"""
        (async () => {
          const [notification] = await registration.getNotifications();
          const opened = new Promise(done => { clients.openWindow = async address => { done(address); return null; }; });
          dispatchEvent(new NotificationEvent('notificationclick', { notification, action: '{{action}}' }));
          return await {{answer}} ?? '';
        })()
        """;

    /// <summary>Evaluates in the worker, over a session within the page's: the library knows workers of pages only.</summary>
    private async Task<string> InWorkerAsync(string expression)
    {
        var session = await Page.Context.NewCDPSessionAsync(Page);
        var answer = new TaskCompletionSource<JsonElement>(TaskCreationOptions.RunContinuationsAsynchronously);
        session.Event("Target.receivedMessageFromTarget").OnEvent += (_, e) =>
        {
            var message = JsonSerializer.Deserialize<JsonElement>(e!.Value.GetProperty("message").GetString()!);
            if (message.TryGetProperty("id", out var _))
            {
                answer.TrySetResult(message);
            }
        };
        var targets = (await session.SendAsync("Target.getTargets"))!.Value.GetProperty("targetInfos").EnumerateArray();
        var worker = targets.Single(target => target.GetProperty("url").GetString() == url + "/sw.js").GetProperty("targetId").GetString()!;
        var within = (await session.SendAsync("Target.attachToTarget", new() { ["targetId"] = worker, ["flatten"] = false }))!.Value.GetProperty("sessionId").GetString()!;
        var call = new { id = 1, method = "Runtime.evaluate", @params = new { expression, awaitPromise = true, returnByValue = true } };
        await session.SendAsync("Target.sendMessageToTarget", new() { ["sessionId"] = within, ["message"] = JsonSerializer.Serialize(call) });
        var result = (await answer.Task.WaitAsync(TimeSpan.FromMilliseconds(Patience.PageMilliseconds))).GetProperty("result").GetProperty("result");
        await session.DetachAsync();
        return result.GetProperty("value").GetString()!;
    }
}
