using System.Net;
using System.Text.RegularExpressions;

namespace TankWatch.Service.Tests.Pages;

/// <summary>What people read of a page: what stands between its tags, and what is said of a drawing, a field or a form.</summary>
internal static partial class PageText
{
    public static IEnumerable<string> Of(string page)
    {
        var visible = Unread().Replace(page, "");
        return Between().Split(visible).Concat(Attribute().Matches(visible).Select(match => match.Groups[1].Value)).Select(WebUtility.HtmlDecode).OfType<string>()
            .Where(text => text.Any(char.IsLetter));
    }

    /// <summary>Styles and scripts, and what is marked as somebody else's words: names, what is to be typed, and raw messages.</summary>
    [GeneratedRegex("<(style|script|bdi|code|pre|textarea)\\b.*?</\\1>", RegexOptions.Singleline)]
    private static partial Regex Unread();

    [GeneratedRegex("<[^>]*>")]
    private static partial Regex Between();

    [GeneratedRegex("\\b(?:title|aria-label|placeholder|alt|label|data-label|data-else)=\"([^\"]*)\"")]
    private static partial Regex Attribute();
}
