using System.Net;
using TankWatch.Service.Configuration;
using TankWatch.Service.Operation;

namespace TankWatch.Service.Webhooks;

/// <summary>What an address of a target must be, as far as it can be told without looking it up.</summary>
internal static class WebhookUrl
{
    private const int MaxLength = 2000;

    /// <returns>Null when it will do, else the fault, one sentence.</returns>
    public static string? FaultOf(string url, WebhookOptions options)
    {
        if (url.Length > MaxLength || url.Any(c => char.IsControl(c) || char.IsWhiteSpace(c)) || !Uri.TryCreate(url, UriKind.Absolute, out var uri)
            || uri.Scheme is not ("https" or "http") || HostOf(uri) is not { Length: > 0 } host)
        {
            return $"The address must be like https://example.org/path, of at most {MaxLength} characters.";
        }

        if (uri.UserInfo.Length > 0 || uri.Fragment.Length > 0)
        {
            return "The address must hold no user, password or fragment.";
        }

        if (uri.Scheme == "http" && !options.AllowHttp)
        {
            return "The address must begin with https://.";
        }

        return !options.AllowPrivateTargets && IPAddress.TryParse(host, out var address) && !PublicAddresses.IsPublic(address)
            ? "The address must be a public one."
            : null;
    }

    /// <returns>As name servers know it; null for a name that cannot be written so, which only shows when it is tried.</returns>
    private static string? HostOf(Uri uri)
    {
        try
        {
            return uri.IdnHost;
        }
        catch (UriFormatException)
        {
            return null;
        }
    }
}
