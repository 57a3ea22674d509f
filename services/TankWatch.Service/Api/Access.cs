using System.Security.Claims;
using Microsoft.AspNetCore.DataProtection;
using TankWatch.Core;
using TankWatch.Service.Pages;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Api;

/// <param name="OpenToAll">As in <c>demo</c>, which is bound to this machine: nobody is asked who they are.</param>
public sealed record AccessRule(bool OpenToAll);

/// <summary>Who asks.</summary>
/// <param name="Name">Stands beside what they do.</param>
/// <param name="Role">Kept for the finer rights that come with accounts.</param>
/// <param name="Site">The only site they see; null for all.</param>
public sealed record Caller(string Name, string Role, SiteId? Site)
{
    public static readonly Caller OfDemo = new("demo", "operator", null);

    public bool Sees(SiteId site) => site != SiteId.Own && (Site is null || Site == site);

    public static Caller? Of(HttpContext context) => context.Features.Get<Caller>();

    /// <summary>How a route gets its caller; behind <see cref="Access"/> there always is one under <c>/api</c>.</summary>
    public static ValueTask<Caller?> BindAsync(HttpContext context) => ValueTask.FromResult(Of(context));

    internal ClaimsPrincipal ToPrincipal() => new(new ClaimsIdentity([new(ClaimTypes.NameIdentifier, Name)], "key"));
}

/// <summary>
/// Finds out who asks, by a bearer key or by the browser's session, and turns strangers away from the API before anything else is
/// said: without a key nobody learns which routes, sites or media types exist.
/// </summary>
internal sealed class Access(RequestDelegate next, CallerFinder callers, AccessRule rule, SiteKeeper keeper)
{
    public Task InvokeAsync(HttpContext context)
    {
        if (callers.Find(context) is { } caller)
        {
            context.Features.Set(caller);
            context.User = caller.ToPrincipal();
            if (!keeper.Read.IsCompleted && (context.Request.Path.StartsWithSegments("/api") || PageRoutes.IsOfTheKnown(context.GetEndpoint())))
            {
                // Without the sites every list is empty and every site unknown; an open page would drop what is being typed under one.
                return Problems.SayReadingAsync(context);
            }
        }
        else if (context.Request.Path.StartsWithSegments("/api"))
        {
            if (rule.OpenToAll)
            {
                return Problems.WriteAsync(context, StatusCodes.Status403Forbidden, "A page from elsewhere asked for this; only this service's own pages may.");
            }

            context.Response.Headers.WWWAuthenticate = "Bearer realm=\"tankwatch\"";
            return Problems.WriteAsync(context, StatusCodes.Status401Unauthorized, "This needs an API key, as 'Authorization: Bearer KEY'.");
        }

        return next(context);
    }
}

/// <summary>Finds whose key a request carries, in a header or in the browser's session. A long answer asks again now and then.</summary>
internal sealed class CallerFinder(AccessRule rule, LedgerStore ledger, BrowserSession session)
{
    private const string Scheme = "Bearer ";

    /// <returns>Null for a stranger, for a key that is no longer in force, and for a browser that was sent by a page from elsewhere.</returns>
    public Caller? Find(HttpContext context)
    {
        if (rule.OpenToAll)
        {
            return BrowserOrigin.IsElsewhere(context.Request) ? null : Caller.OfDemo;
        }

        // A key that was given and is wrong is not made good by a session.
        var header = context.Request.Headers.Authorization.ToString();
        var key = header.Length == 0 ? session.FindKey(context)
            : header.StartsWith(Scheme, StringComparison.OrdinalIgnoreCase) ? header[Scheme.Length..].Trim()
            : null;
        return key is { Length: > 0 } && ledger.FindKey(key) is { } holder ? new(holder.Name, holder.Role, holder.Site) : null;
    }
}

/// <summary>Keeps a browser's key in a cookie that scripts cannot read, other sites cannot send and nobody can read out of a backup.</summary>
/// <remarks>The key is looked up on every request, so that revoking it ends the session at once.</remarks>
internal sealed class BrowserSession(IDataProtectionProvider protection)
{
    private const string CookieName = "tankwatch-session";
    private static readonly TimeSpan Lifetime = TimeSpan.FromDays(14);

    private readonly ITimeLimitedDataProtector protector = protection.CreateProtector("TankWatch.BrowserSession").ToTimeLimitedDataProtector();

    public void Begin(HttpContext context, string key) =>
        context.Response.Cookies.Append(CookieName, protector.Protect(key, Lifetime), Options(context));

    public static void End(HttpContext context) => context.Response.Cookies.Delete(CookieName, Options(context));

    public string? FindKey(HttpContext context)
    {
        if (context.Request.Cookies[CookieName] is not { Length: > 0 } cookie || BrowserOrigin.IsElsewhere(context.Request))
        {
            return null;
        }

        try
        {
            return protector.Unprotect(cookie);
        }
        catch (System.Security.Cryptography.CryptographicException)
        {
            return null; // Forged, expired, or made with keys that are gone: no session.
        }
    }

    private static CookieOptions Options(HttpContext context) => new()
    {
        HttpOnly = true, SameSite = SameSiteMode.Strict, Secure = context.Request.IsHttps, Path = "/", MaxAge = Lifetime,
    };
}

/// <summary>Whether a page of another site had the browser send a request that changes something.</summary>
/// <remarks>
/// SameSite calls another port of this machine the same site; the browser itself knows better. It says so in <c>Sec-Fetch-Site</c>
/// (W3C Fetch Metadata), which no page can set. Where it says nothing, as to an address without TLS, <c>Origin</c> is compared. What
/// sends neither is no browser.
/// </remarks>
internal static class BrowserOrigin
{
    public static bool IsElsewhere(HttpRequest request)
    {
        if (HttpMethods.IsGet(request.Method) || HttpMethods.IsHead(request.Method))
        {
            return false;
        }

        return request.Headers["Sec-Fetch-Site"].ToString() switch
        {
            "same-origin" or "none" => false,
            "" => !IsOwn(request.Headers.Origin.ToString(), request),
            _ => true,
        };
    }

    /// <remarks>Our forms, sent from pages without a referrer, have the origin <c>null</c> as well; they carry a token, and the API has no forms.</remarks>
    private static bool IsOwn(string origin, HttpRequest request) => origin switch
    {
        "" => true,
        "null" => !request.Path.StartsWithSegments("/api"),
        _ => Uri.TryCreate(origin, UriKind.Absolute, out var from)
            && string.Equals(from.Host, request.Host.Host, StringComparison.OrdinalIgnoreCase)
            && (request.Host.Port is { } port ? from.Port == port : from.IsDefaultPort),
    };
}
