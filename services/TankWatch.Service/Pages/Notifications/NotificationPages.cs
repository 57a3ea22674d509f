using Lib.Net.Http.WebPush;
using Microsoft.AspNetCore.Http.HttpResults;
using TankWatch.Service.Api;
using TankWatch.Service.Push;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Pages.Notifications;

/// <summary>Where a person has this device show their alerts, and sees which devices do. Subscribing is the script's and the API's; the rest works without.</summary>
internal static class NotificationPages
{
    public const string Address = "/notifications";

    /// <summary>Of the parameter that names the device to which a trial just went.</summary>
    private const string Tried = "tried";

    public static void MapNotificationPages(this RouteGroupBuilder pages)
    {
        pages.MapGet(Address, (string? tried, Caller caller, NotificationsReading reading) => reading.Show(caller, tried));
        pages.MapPost(Address + "/{id}/try", TryAsync);
        pages.MapPost(Address + "/{id}/remove", Remove);
        pages.MapReturns(() => TypedResults.LocalRedirect(Address), Address + "/{id}/try", Address + "/{id}/remove");
    }

    // Forms, so that their token is asked for.
    private static async Task<IResult> TryAsync(string id, IFormCollection _, Caller caller, LedgerStore ledger, PushClient client, NotificationsReading reading, CancellationToken stop)
    {
        if (PushRoutes.Find(id, caller, ledger) is not { } browser)
        {
            return Gone(caller, reading);
        }

        return await client.SendAsync(browser, PushContent.Trial(browser, PageLanguage.Current, Address), PushMessageUrgency.High, stop) is { } fault
            ? reading.Page(caller, StatusCodes.Status502BadGateway, problem: Said.Of("push.tried.fault", ("name", Said.Name(browser.Name)), ("why", Said.Name(fault))))
            : TypedResults.LocalRedirect($"{Address}?{Tried}={browser.Id}");
    }

    private static IResult Remove(string id, IFormCollection _, Caller caller, LedgerStore ledger, NotificationsReading reading) =>
        PushRoutes.Find(id, caller, ledger) is not null && ledger.RemoveSubscriber(id) ? TypedResults.LocalRedirect(Address) : Gone(caller, reading);

    private static RazorComponentResult Gone(Caller caller, NotificationsReading reading) =>
        reading.Page(caller, StatusCodes.Status404NotFound, problem: Said.Of("push.gone"));
}

/// <summary>Reads the page of devices that show alerts.</summary>
internal sealed class NotificationsReading(LedgerStore ledger, SiteDirectory directory, PushClient client)
{
    private const int Shown = 100;

    /// <summary>Whoever sees more people than these types the address without help.</summary>
    private const int Suggested = 20;

    public RazorComponentResult Show(Caller caller, string? tried) => Page(
        caller, StatusCodes.Status200OK,
        tried is not null && PushRoutes.Find(tried, caller, ledger) is { } browser ? Said.Of("push.tried", ("name", Said.Name(browser.Name))) : null);

    public RazorComponentResult Page(Caller caller, int status, IReadOnlyList<Said>? done = null, IReadOnlyList<Said>? problem = null)
    {
        var devices = ledger.ListSubscribers(caller.Site, caller.Name, Shown + 1);
        var emails = PushRoutes.Contacts(caller, directory).Select(contact => contact.Email!.ToLowerInvariant()).Distinct(StringComparer.Ordinal).Take(Suggested + 1).ToList();
        return PageRoutes.Page<NotificationsPage>(
            new()
            {
                [nameof(NotificationsPage.Devices)] = devices.Take(Shown).ToList(),
                [nameof(NotificationsPage.HasMore)] = devices.Count > Shown,
                [nameof(NotificationsPage.Emails)] = emails.Count > Suggested ? [] : emails,
                [nameof(NotificationsPage.Key)] = client.Keys.Public,
                [nameof(NotificationsPage.Done)] = done,
                [nameof(NotificationsPage.Problem)] = problem,
            },
            status);
    }
}
