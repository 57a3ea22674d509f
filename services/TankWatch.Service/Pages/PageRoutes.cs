using Microsoft.AspNetCore.Http.HttpResults;
using Microsoft.AspNetCore.Mvc;
using TankWatch.Core;
using TankWatch.Service.Api;
using TankWatch.Service.Operation;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Pages;

/// <summary>The one page and its forms. Every form carries a token against forgery, and answers by loading the page again.</summary>
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
        services.AddSingleton<EstateReader>();
        return services;
    }

    public static void MapPages(this WebApplication app)
    {
        var pages = app.MapGroup("").ExcludeFromDescription();
        pages.MapGet("/", (Caller? caller, EstateReader reader) => caller is null ? SignIn() : Estate(reader, caller));
        pages.MapGet("/style.css", (HttpContext context) =>
        {
            context.Response.Headers.CacheControl = "max-age=3600";
            return TypedResults.Text(PageStyle.Css, "text/css");
        });
        pages.MapPost("/acknowledge", AcknowledgeAsync);
        pages.MapPost("/sign-in", SignInWith);
        pages.MapPost("/sign-out", (HttpContext context, IFormCollection _) => // A form, so that its token is asked for.
        {
            BrowserSession.End(context);
            return TypedResults.Redirect("/");
        });
    }

    private static async Task<IResult> AcknowledgeAsync(
        [FromForm] string? id, [FromForm] string? note, Caller? caller, AlertDesk desk, EstateReader reader, CancellationToken stop)
    {
        if (caller is null)
        {
            return SignIn("Sign in first.", StatusCodes.Status401Unauthorized);
        }

        var written = string.IsNullOrWhiteSpace(note) ? null : note.Trim();
        var outcome = await desk.DoAsync(id ?? "", caller, new Acknowledge(id ?? "", caller.Name, written), stop, written);
        return outcome.Result is ProblemHttpResult problem
            ? Estate(reader, caller, problem.ProblemDetails.Detail, problem.StatusCode)
            : TypedResults.Redirect("/");
    }

    private static IResult SignInWith([FromForm] string? key, HttpContext context, BrowserSession session, LedgerStore ledger)
    {
        if (string.IsNullOrWhiteSpace(key) || ledger.FindKey(key.Trim()) is null)
        {
            return SignIn("No such key is in force.", StatusCodes.Status401Unauthorized);
        }

        session.Begin(context, key.Trim());
        return TypedResults.Redirect("/");
    }

    private static RazorComponentResult SignIn(string? message = null, int status = StatusCodes.Status200OK) =>
        Page<SignInPage>(new() { [nameof(SignInPage.Message)] = message }, status);

    private static RazorComponentResult Estate(EstateReader reader, Caller caller, string? message = null, int status = StatusCodes.Status200OK) =>
        Page<EstatePage>(new() { [nameof(EstatePage.Estate)] = reader.Read(caller), [nameof(EstatePage.Message)] = message }, status);

    private static RazorComponentResult Page<T>(Dictionary<string, object?> parameters, int status) where T : Microsoft.AspNetCore.Components.IComponent =>
        new(typeof(T), parameters) { StatusCode = status, PreventStreamingRendering = true };
}

/// <summary>Puts together what the page says.</summary>
internal sealed class EstateReader(SiteDirectory directory, ServiceShape shape)
{
    public EstateView Read(Caller caller) => EstateView.Of(
        directory.Sites.Where(site => caller.Sees(site.Plan.Id)),
        shape.Demo ? null : caller.Name,
        shape.Demo ? PickupReader.Read(shape.MailFolder) : null);
}
