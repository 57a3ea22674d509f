namespace TankWatch.Service.Operation;

/// <summary>What every answer tells the browser not to do. The pages have nothing from elsewhere, and no script or style within the text.</summary>
internal sealed class SecurityHeaders(RequestDelegate next)
{
    private const string Policy =
        "default-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'";

    /// <summary>The library that draws the API's reference writes its styles into the page; on that page nobody's names stand.</summary>
    private const string ReferencePolicy = Policy + "; style-src 'self' 'unsafe-inline'; img-src 'self' data:";

    public Task InvokeAsync(HttpContext context)
    {
        // At the last moment, so that an error answer, which clears the headers, carries them too.
        context.Response.OnStarting(() =>
        {
            var headers = context.Response.Headers;
            headers.ContentSecurityPolicy = context.Request.Path.StartsWithSegments(Pages.Reference.ReferencePages.Address) ? ReferencePolicy : Policy;
            headers.XContentTypeOptions = "nosniff";
            headers.XFrameOptions = "DENY";
            headers["Referrer-Policy"] = "no-referrer";
            headers["Cross-Origin-Opener-Policy"] = "same-origin";
            headers["Cross-Origin-Resource-Policy"] = "same-origin";
            if (!headers.ContainsKey("Cache-Control"))
            {
                headers.CacheControl = "no-store";
            }

            return Task.CompletedTask;
        });
        return next(context);
    }
}
