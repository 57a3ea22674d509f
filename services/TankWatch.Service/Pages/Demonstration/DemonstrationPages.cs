using Microsoft.AspNetCore.Mvc;
using TankWatch.Service.Demo;

namespace TankWatch.Service.Pages.Demonstration;

/// <summary>What only a demonstration has: the pace of its clock, and a few words to begin with.</summary>
internal static class DemonstrationPages
{
    private const string CookieName = "tankwatch-first-look";

    public static void MapDemonstration(this RouteGroupBuilder pages)
    {
        pages.MapPost("/demo/speed", ([FromForm] string? speed, [FromForm] string? back, IServiceProvider services) =>
        {
            if (services.GetService<DemoClock>() is not { } clock)
            {
                return PageRoutes.Say(Words.Say("problem.page"), StatusCodes.Status404NotFound);
            }

            if (!DemoClock.TryReadSpeed(speed, out var wanted))
            {
                return PageRoutes.Say(Words.Say("demo.speed-range", ("least", DemoClock.Slowest), ("most", DemoClock.Fastest)), StatusCodes.Status400BadRequest);
            }

            clock.SetSpeed(wanted);
            return (IResult)TypedResults.LocalRedirect(PageRoutes.Back(back, "/"));
        });
        pages.MapPost("/demo/first-look", ([FromForm] string? show, HttpContext context) =>
        {
            context.Response.Cookies.Append(CookieName, show == "yes" ? "" : "seen", new()
            {
                HttpOnly = true, SameSite = SameSiteMode.Strict, Secure = context.Request.IsHttps, Path = "/",
                MaxAge = show == "yes" ? TimeSpan.Zero : TimeSpan.FromDays(30),
            });
            return TypedResults.LocalRedirect("/");
        });
    }

    /// <summary>The reader has read it and put it away.</summary>
    public static bool IsSeen(HttpContext context) => context.Request.Cookies[CookieName] is { Length: > 0 };
}
