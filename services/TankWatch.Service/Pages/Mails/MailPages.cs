using TankWatch.Service.Operation;

namespace TankWatch.Service.Pages.Mails;

/// <summary>The mails of a demonstration, as they would arrive.</summary>
internal static class MailPages
{
    public static void MapMailPages(this RouteGroupBuilder pages) => pages.MapGet("/mails", (ServiceShape shape) => shape.Demo
        ? PageRoutes.Page<MailsPage>(new() { [nameof(MailsPage.Mails)] = PickupReader.Read(shape.MailFolder) })
        : PageRoutes.Say(Words.Say("problem.page"), StatusCodes.Status404NotFound));
}

/// <summary>A mail as it was sent.</summary>
/// <param name="Id">For the page: letters, digits and hyphens.</param>
/// <param name="Subject">As sent.</param>
/// <param name="From">As sent.</param>
/// <param name="To">As sent.</param>
/// <param name="At">Its date, in words.</param>
/// <param name="Text">Its plain text.</param>
public sealed record MailView(string Id, string Subject, string From, string To, string At, string Text);
