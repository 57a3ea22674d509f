using System.Net;
using System.Threading.RateLimiting;
using Microsoft.AspNetCore.Http.HttpResults;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Texts;
using TankWatch.Service.Mail;
using TankWatch.Service.Operation;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Pages.Links;

/// <summary>
/// Where the links in mails lead: one thing to do, and no login. Opening a link changes nothing, since programs that look through mails
/// open every link in them; only the button on its page does, or the one-click POST of RFC 8058.
/// </summary>
internal static class LinkPages
{
    /// <summary>Enough for somebody whose mail program breaks links, and few enough to be no load.</summary>
    private const int WrongAMinute = 20;

    public static void AddLinkPages(this IServiceCollection services) => services.AddSingleton<WrongLinks>().AddSingleton<LinkDesk>();

    public static void MapLinkPages(this RouteGroupBuilder pages)
    {
        var links = pages.MapGroup("");
        links.WithHead();
        links.MapGet(MailLinks.AcknowledgePath + "{token}", (string token, HttpContext context, LinkDesk desk) => desk.ShowAlert(token, context));
        links.MapGet(MailLinks.UnsubscribePath + "{token}", (string token, HttpContext context, LinkDesk desk) => desk.ShowMails(token, context));

        // No token against forgery: the address is one, and mail programs that unsubscribe have no other.
        pages.MapPost(MailLinks.AcknowledgePath + "{token}", (string token, HttpContext context, LinkDesk desk) => desk.AcknowledgeAsync(token, context)).DisableAntiforgery();
        pages.MapPost(MailLinks.UnsubscribePath + "{token}", (string token, HttpContext context, LinkDesk desk) => desk.ChangeMailsAsync(token, context)).DisableAntiforgery();
    }

    /// <summary>Counts links that are none of ours by where they come from. One that is ours always works, whoever else shares that address.</summary>
    internal sealed class WrongLinks : IDisposable
    {
        private readonly PartitionedRateLimiter<IPAddress> limiter = PartitionedRateLimiter.Create<IPAddress, IPAddress>(
            from => RateLimitPartition.GetFixedWindowLimiter(from, _ => new() { PermitLimit = WrongAMinute, Window = TimeSpan.FromMinutes(1), QueueLimit = 0 }));

        /// <returns>False when there were too many.</returns>
        public bool Count(HttpContext context)
        {
            using var lease = limiter.AttemptAcquire(context.Connection.RemoteIpAddress ?? IPAddress.None);
            return lease.IsAcquired;
        }

        public void Dispose() => limiter.Dispose();
    }
}

/// <param name="Language">Of whoever was sent the mail.</param>
/// <param name="Title">The heading.</param>
/// <param name="Lines">Under it.</param>
/// <param name="Button">The only thing to do; null for none.</param>
public sealed record LinkView(Language Language, string Title, IReadOnlyList<string> Lines, LinkButton? Button = null)
{
    /// <summary>Where the reader sees more, with a key: the building, or all of theirs.</summary>
    public string Place { get; init; } = "/";
}

/// <param name="Words">On it.</param>
/// <param name="Name">Of the form's field.</param>
/// <param name="Value">Of the form's field.</param>
public sealed record LinkButton(string Words, string Name, string Value);

/// <summary>Shows and does what a link is for.</summary>
internal sealed class LinkDesk(MailLinks links, LedgerStore ledger, SiteDirectory directory, LinkPages.WrongLinks wrong, TimeProvider time)
{
    // RFC 8058, 3.1: the one field of a one-click POST.
    private const string Unsubscribe = "List-Unsubscribe", OneClick = "One-Click", Undo = "undo", Yes = "yes";

    public IResult ShowAlert(string token, HttpContext context) => Find(token, context, out var refusal) is { } letter ? Page(Of(letter)) : refusal!;

    public async Task<IResult> AcknowledgeAsync(string token, HttpContext context)
    {
        if (Find(token, context, out var refusal) is not { } letter)
        {
            return refusal!;
        }

        if (AlertOf(letter).State is AlertState.Unacknowledged or AlertState.ReturnedUnacknowledged
            && await directory.TellAsync(new Acknowledge(letter.Notification.Alert.Id, letter.To.Name, null), context.RequestAborted) is not CommandOutcome.Done)
        {
            var language = Languages.Of(letter.To.Language);
            return Page(Of(letter) with { Title = language.Say("link.unavailable") }, StatusCodes.Status503ServiceUnavailable);
        }

        return Page(Of(letter));
    }

    public IResult ShowMails(string token, HttpContext context) =>
        links.ReadUnsubscribe(token) is { } email ? Page(OfMails(email, ledger.HasDeclined(email))) : Wrong(context);

    public async Task<IResult> ChangeMailsAsync(string token, HttpContext context)
    {
        if (links.ReadUnsubscribe(token) is not { } email)
        {
            return Wrong(context);
        }

        var form = await ReadFormAsync(context);
        if (form[Undo] == Yes)
        {
            ledger.UndoDecline(email);
            return Page(OfMails(email, false) with { Title = LanguageOf(email).Say(Phrase.Of("link.resubscribed", ("address", email))) });
        }

        if (form[Unsubscribe] == OneClick)
        {
            ledger.Decline(email, [.. SitesOf(email).Select(site => site.Plan.Id)]);
            return Page(OfMails(email, true));
        }

        return ShowMails(token, context);
    }

    /// <exception cref="BadHttpRequestException">It is cut off, too much, or no form at all: the client's fault, which the reader of forms does not say.</exception>
    private static async Task<IFormCollection> ReadFormAsync(HttpContext context)
    {
        try
        {
            return context.Request.HasFormContentType ? await context.Request.ReadFormAsync(context.RequestAborted) : FormCollection.Empty;
        }
        catch (Exception fault) when (fault is InvalidDataException or (IOException and not BadHttpRequestException))
        {
            throw new BadHttpRequestException("The form cannot be read.", fault);
        }
    }

    /// <summary>The letter of a link that is in force.</summary>
    private OutboxLetter? Find(string token, HttpContext context, out IResult? refusal)
    {
        refusal = null;
        if (links.ReadAcknowledge(token) is not { } read || ledger.FindLetter(read.Letter)?.Letter is not { } letter)
        {
            refusal = Wrong(context);
            return null;
        }

        if (time.GetUtcNow() >= read.Until)
        {
            var language = Languages.Of(letter.To.Language);
            refusal = Page(new(language, language.Say("link.expired"), [language.Say("link.wrong.more")]), StatusCodes.Status410Gone);
            return null;
        }

        return letter;
    }

    private Alert AlertOf(OutboxLetter letter) => ledger.FindAlert(letter.Notification.Alert.Id) ?? letter.Notification.Alert;

    private LinkView Of(OutboxLetter letter)
    {
        var (alert, language) = (AlertOf(letter), Languages.Of(letter.To.Language));
        List<string> about = [letter.SiteName, language.Say(alert.Finding.Text.Summary)];
        var view = alert switch
        {
            { State: AlertState.Unacknowledged or AlertState.ReturnedUnacknowledged } => new LinkView(
                language, language.Say("link.acknowledge.title"), [.. about, language.Say("link.acknowledge.what")], new(language.Say("link.acknowledge.button"), "known", Yes)),
            { AcknowledgedBy: { } by } => new(language, language.Say(Phrase.Of("link.acknowledged", ("name", by))), about),
            { IsOpen: true } => new(language, language.Say("link.held"), about), // Shelved, out of service, or explained by another alert.
            _ => new(language, language.Say("link.over"), about),
        };
        return alert.Site.IsNone ? view : view with { Place = $"/sites/{alert.Site}" };
    }

    private LinkView OfMails(string email, bool declined)
    {
        var language = LanguageOf(email);
        var what = language.Say(Phrase.Of("link.unsubscribe.what", ("address", email)));
        return declined
            ? new(language, language.Say(Phrase.Of("link.unsubscribed", ("address", email))), [language.Say("link.resubscribe.what")], new(language.Say("link.resubscribe.button"), Undo, Yes))
            : new(language, language.Say("link.unsubscribe.title"), [what], new(language.Say("link.unsubscribe.button"), Unsubscribe, OneClick));
    }

    private Language LanguageOf(string email) => Languages.Of(
        SitesOf(email).SelectMany(site => site.Plan.Contacts).FirstOrDefault(contact => Same(contact.Email, email))?.Language);

    private IEnumerable<SiteView> SitesOf(string email) => directory.Sites.Where(site => site.Plan.Contacts.Any(contact => Same(contact.Email, email)));

    private static bool Same(string? one, string other) => string.Equals(one, other, StringComparison.OrdinalIgnoreCase);

    /// <summary>In the browser's language: whose mail it was is not known of an address that lost a part.</summary>
    private RazorComponentResult Wrong(HttpContext context) => wrong.Count(context)
        ? Page(new(PageLanguage.Current, Words.Say("link.wrong"), [Words.Say("link.wrong.more")]), StatusCodes.Status404NotFound)
        : Page(new(PageLanguage.Current, Words.Say("link.too-many"), []), StatusCodes.Status429TooManyRequests);

    private static RazorComponentResult Page(LinkView view, int status = StatusCodes.Status200OK) =>
        PageRoutes.Page<LinkPage>(new() { [nameof(LinkPage.View)] = view }, status);
}
