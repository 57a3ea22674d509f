using Scalar.AspNetCore;

namespace TankWatch.Service.Pages.Reference;

/// <summary>The API's reference, drawn from <c>/openapi/v1.json</c> by a library that is served from here too.</summary>
internal static class ReferencePages
{
    public const string Address = "/reference";

    /// <summary>The library's own page, of which only its script is used: that page says neither its language nor its title.</summary>
    public const string LibraryAddress = Address + "/library";

    public static void MapReference(this RouteGroupBuilder pages)
    {
        pages.MapGet(Address, () => PageRoutes.Page<ReferencePage>([]));
        pages.MapScalarApiReference(LibraryAddress);
    }
}
