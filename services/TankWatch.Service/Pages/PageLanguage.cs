using System.Globalization;
using System.Net.Mime;
using System.Text.Json;
using Microsoft.AspNetCore.Localization;
using Microsoft.AspNetCore.Mvc;
using TankWatch.Core.Texts;

namespace TankWatch.Service.Pages;

/// <summary>
/// The language of a page: the one that the reader chose at its foot, else the one that the browser asks for, else English. The framework's localization
/// carries it through a request as the culture of the user interface; the other culture stays invariant, for numbers in addresses and drawings.
/// </summary>
internal static class PageLanguage
{
    private const string CookieName = "tankwatch-language";

    /// <summary>Of the page that is being made; English outside of a request.</summary>
    public static Language Current => Languages.Of(CultureInfo.CurrentUICulture.Name);

    public static void UsePageLanguage(this WebApplication app)
    {
        app.UseRequestLocalization(new RequestLocalizationOptions
        {
            DefaultRequestCulture = new(CultureInfo.InvariantCulture, CultureInfo.GetCultureInfo(Languages.English.Tag)),
            SupportedCultures = null,
            SupportedUICultures = [.. Languages.All.Append(Languages.Pseudo).Select(language => CultureInfo.GetCultureInfo(language.Tag))],
            RequestCultureProviders =
            [
                new CustomRequestCultureProvider(context => Task.FromResult(context.Request.Cookies[CookieName] is { } tag && IsKnown(tag) ? new ProviderCultureResult(tag) : null)),
                new AcceptLanguageHeaderRequestCultureProvider { MaximumAcceptLanguageHeaderValuesToTry = 10 },
            ],
        });
        app.Use((context, next) =>
        {
            context.Response.OnStarting(() => TellAsync(context));
            return next(context);
        });
    }

    /// <summary>The form at the foot of every page, for strangers too.</summary>
    public static void MapLanguage(this RouteGroupBuilder pages) => pages.MapPost("/language", ([FromForm] string? language, [FromForm] string? back, HttpContext context) =>
    {
        if (language is not null && IsKnown(language))
        {
            context.Response.Cookies.Append(CookieName, language, new()
            {
                HttpOnly = true, SameSite = SameSiteMode.Strict, Secure = context.Request.IsHttps, Path = "/", MaxAge = TimeSpan.FromDays(365),
            });
        }

        return TypedResults.LocalRedirect(PageRoutes.Back(back, "/"));
    });

    /// <summary>The side on which reading begins: the language's, or turned round on request, for checking.</summary>
    public static string Direction(this HttpContext context) => context.Request.Query["dir"] == "rtl" ? "rtl" : Current.Direction;

    /// <summary>What scripts say by themselves: by name, a text or its forms by plural category, with the gaps left in it.</summary>
    public static string ForScripts() => JsonSerializer.Serialize(new Dictionary<string, object>
    {
        ["now"] = Words.Say("ago.now"), ["seconds"] = Forms("ago.seconds"), ["minutes"] = Forms("ago.minutes"), ["hours"] = Forms("ago.hours"), ["days"] = Forms("ago.days"),
        ["lost"] = Forms("frame.lost"), ["later"] = Words.Say("strip.not-yet"),
    });

    private static Dictionary<string, string> Forms(string key) => Current.Plurals.Used.ToDictionary(
        category => category.ToString().ToLowerInvariant(), category => Form(Current.Find(key)!, category));

    private static string Form(Template text, PluralCategory category) => string.Concat(text.Parts.Select(part => part switch
    {
        LiteralPart literal => literal.Text,
        SlotPart slot => $"{{{slot.Name}}}",
        PluralPart plural => Form((plural.Forms.FirstOrDefault(form => form.Category == category) ?? plural.Forms[^1]).Text, category),
        _ => throw new InvalidOperationException(part.GetType().Name),
    }));

    private static bool IsKnown(string tag) => Languages.All.Any(language => language.Tag == tag);

    private static Task TellAsync(HttpContext context)
    {
        if (context.Response.ContentType?.StartsWith(MediaTypeNames.Text.Html, StringComparison.OrdinalIgnoreCase) == true)
        {
            context.Response.Headers.ContentLanguage = Current.Tag;
            context.Response.Headers.Append("Vary", "Accept-Language, Cookie");
        }

        return Task.CompletedTask;
    }
}
