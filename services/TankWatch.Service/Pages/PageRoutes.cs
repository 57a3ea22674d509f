using System.Text;
using Microsoft.AspNetCore.Components;
using Microsoft.AspNetCore.Http.HttpResults;
using Microsoft.AspNetCore.Mvc;
using TankWatch.Service.Api;
using TankWatch.Service.Operation;
using TankWatch.Service.Pages.Access;
using TankWatch.Service.Pages.Alerts;
using TankWatch.Service.Pages.Demonstration;
using TankWatch.Service.Pages.Building;
using TankWatch.Service.Pages.Estate;
using TankWatch.Service.Pages.Links;
using TankWatch.Service.Pages.Load;
using TankWatch.Service.Pages.Mails;
using TankWatch.Service.Pages.Notifications;
using TankWatch.Service.Pages.Reference;
using TankWatch.Service.Pages.Strips;
using TankWatch.Service.Pages.Units;
using TankWatch.Service.Pages.Visits;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Pages;

/// <summary>The pages and their forms. Every form carries a token against forgery, and answers by sending the reader to a page.</summary>
internal static class PageRoutes
{
    public static IServiceCollection AddPages(this IServiceCollection services)
    {
        services.AddRazorComponents();
        services.AddAntiforgery(o =>
        {
            o.SuppressXFrameOptionsHeader = true; // Every answer has a stricter one already.
            o.Cookie.Name = "tankwatch-form";
            o.Cookie.SameSite = SameSiteMode.Strict;
            o.Cookie.SecurePolicy = CookieSecurePolicy.SameAsRequest;
        });
        services.AddSingleton<StripReader>();
        services.AddAlertPages();
        services.AddSingleton<VisitsReading>();
        services.AddSingleton<NotificationsReading>();
        services.AddLinkPages();
        return services;
    }

    public static void MapPages(this WebApplication app)
    {
        var pages = app.MapGroup("").ExcludeFromDescription();
        pages.MapAssets();
        pages.MapLive();
        pages.MapLinkPages();
        pages.MapPost("/sign-in", SignInWith);
        pages.MapPost("/sign-out", (HttpContext context, IFormCollection _) => // A form, so that its token is asked for.
        {
            BrowserSession.End(context);
            return TypedResults.Redirect("/");
        });
        pages.MapLanguage();
        pages.MapReturns(() => TypedResults.LocalRedirect("/"), "/sign-in", "/sign-out", "/language", "/demo/speed", "/demo/first-look");

        var known = pages.MapGroup("");
        known.LetInTheKnown();
        known.WithHead();
        known.MapEstatePages();
        known.MapBuildingPages();
        known.MapVisitsPages();
        known.MapAlertPages();
        known.MapUnitPages();
        known.MapLoadPages();
        known.MapMailPages();
        known.MapNotificationPages();
        known.MapStrips();
        known.MapDemonstration();
        known.MapReference();
    }

    /// <summary>Whoever opens again what a form was answered with comes back to a page.</summary>
    /// <param name="pages">Those of the forms.</param>
    /// <param name="back">Leads there.</param>
    /// <param name="forms">Their routes.</param>
    public static void MapReturns(this RouteGroupBuilder pages, Delegate back, params ReadOnlySpan<string> forms)
    {
        foreach (var form in forms)
        {
            pages.MapGet(form, back).WithHead();
        }
    }

    private static readonly object OfTheKnown = new();

    /// <summary>Whether a page shows what only those may see who have given a key.</summary>
    public static bool IsOfTheKnown(Endpoint? endpoint) => endpoint?.Metadata.Contains(OfTheKnown) == true;

    /// <summary>A stranger is asked for a key, whatever else is wrong with the request.</summary>
    /// <remarks>Around the whole endpoint: a filter would come too late, for a route that has no caller to bind is refused before its filters run.</remarks>
    private static void LetInTheKnown(this IEndpointConventionBuilder pages) => pages.Finally(endpoint =>
    {
        endpoint.Metadata.Add(OfTheKnown);
        var page = endpoint.RequestDelegate!;
        endpoint.RequestDelegate = context =>
        {
            var reads = HttpMethods.IsGet(context.Request.Method) || HttpMethods.IsHead(context.Request.Method);

            // The first page is where one signs in: there the form is the answer, anywhere else it stands in for one.
            var status = reads && context.Request.Path == "/" ? StatusCodes.Status200OK : StatusCodes.Status401Unauthorized;
            return Caller.Of(context) is not null ? page(context) : SignIn(reads ? null : Words.Say("sign-in.first"), status, Here(context)).ExecuteAsync(context);
        };
    });

    /// <summary>A page, rendered whole.</summary>
    /// <param name="parameters">Of the component.</param>
    /// <param name="status">As fits what the page says.</param>
    public static RazorComponentResult Page<T>(Dictionary<string, object?> parameters, int status = StatusCodes.Status200OK) where T : IComponent =>
        new(typeof(T), parameters) { StatusCode = status, PreventStreamingRendering = true };

    /// <summary>A page that only says something.</summary>
    public static RazorComponentResult Say(string sentence, int status, string? more = null) =>
        Page<SayPage>(new() { [nameof(SayPage.Sentence)] = sentence, [nameof(SayPage.More)] = more }, status);

    public static RazorComponentResult NoBuilding() => Say(Words.Say("problem.building"), StatusCodes.Status404NotFound);

    /// <summary>Where a form leads back to: only ever an address of ours that a header can carry.</summary>
    public static string Back(string? asked, string otherwise) => RedirectHttpResult.IsLocalUrl(asked) && Ascii.IsValid(asked) ? asked! : otherwise;

    /// <summary>The page that is open, for a form that leads back to it; what answered a form has no address of its own.</summary>
    public static string Here(HttpContext context) => HttpMethods.IsGet(context.Request.Method) ? context.Request.Path + context.Request.QueryString : "/";

    private static IResult SignInWith([FromForm] string? key, [FromForm] string? to, HttpContext context, BrowserSession session, LedgerStore ledger)
    {
        if (string.IsNullOrWhiteSpace(key) || ledger.FindKey(key.Trim()) is null)
        {
            return SignIn(Words.Say("sign-in.no-key"), StatusCodes.Status401Unauthorized, Back(to, "/"));
        }

        session.Begin(context, key.Trim());
        return TypedResults.LocalRedirect(Back(to, "/"));
    }

    /// <param name="message">What is wrong; null when nothing is.</param>
    /// <param name="status">As fits the request it answers.</param>
    /// <param name="to">The page that was asked for: a mail or a notice leads to it, and so does signing in.</param>
    private static RazorComponentResult SignIn(string? message, int status, string to) =>
        Page<SignInPage>(new() { [nameof(SignInPage.Message)] = message, [nameof(SignInPage.To)] = to }, status);
}
