using System.Text.RegularExpressions;
using MimeKit;
using TankWatch.Core.Tests.Texts;
using TankWatch.Service.Tests.Pages;
using TankWatch.Service.Tests.Visits;
using Xunit;

namespace TankWatch.Service.Tests.Mail;

/// <summary>What people read of a mail in the made-up language.</summary>
internal static partial class MailSaid
{
    /// <summary>Fails when a word of it stands in the code: in its subject, its text, its HTML, or in what a calendar shows of it.</summary>
    /// <param name="mail">In the made-up language.</param>
    /// <param name="data">Names and ids in it.</param>
    public static void In(MimeMessage mail, params string[] data)
    {
        string[] read =
        [
            mail.Subject!, .. mail.TextBody!.Split('\n'), .. PageText.Of(mail.HtmlBody!),
            .. mail.BodyParts.OfType<TextPart>().Where(part => part.ContentType.IsMimeType("text", "calendar")).SelectMany(part => Shown(CalendarReader.Of(part.Text.ReplaceLineEndings("\r\n")))),
        ];
        Assert.Contains(read, line => line.Contains('⟦', StringComparison.Ordinal));
        Assert.All(read, line => Assert.Equal(("", line), (PseudoLanguage.Strangers(Address().Replace(line, ""), [.. data, "Re: "]), line))); // RFC 5322, 3.6.5 has "Re: ".
    }

    private static IEnumerable<string> Shown(CalendarReader calendar) => new[] { "SUMMARY", "DESCRIPTION", "LOCATION" }.Select(name => calendar.Event(name).Text);

    [GeneratedRegex(@"https?://\S+")]
    private static partial Regex Address();
}
