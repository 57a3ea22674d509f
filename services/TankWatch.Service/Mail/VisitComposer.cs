using System.Net;
using System.Text;
using MimeKit;
using TankWatch.Core.Texts;
using TankWatch.Service.Configuration;
using TankWatch.Service.Storage;
using TankWatch.Service.Visits;

namespace TankWatch.Service.Mail;

/// <summary>Makes the mail about a visit: words for people, and the same for calendars.</summary>
public sealed class VisitComposer(MailOptions options)
{
    /// <param name="mail">What to say, and to whom.</param>
    /// <param name="thread">Message-IDs of the earlier mails about this visit to this person, oldest first.</param>
    /// <param name="createdAt">When the mail was intended.</param>
    /// <param name="fault">Why there is no mail to send, when null is returned.</param>
    public MimeMessage? TryCompose(VisitMail mail, IReadOnlyList<string> thread, DateTimeOffset createdAt, out string? fault)
    {
        if (MailComposer.AddressOf(mail.To.Email) is not { } address)
        {
            fault = "the person has no mail address that can be used";
            return null;
        }

        fault = null;
        var language = Languages.Of(mail.To.Language);
        var message = new MimeMessage
        {
            MessageId = mail.MessageId,
            Date = createdAt,
            Subject = VisitWords.Subject(mail, language),
            Body = BodyOf(mail, language, createdAt),
        };
        message.From.Add(MailboxAddress.Parse(options.From));
        message.To.Add(new MailboxAddress(MailWords.OneLine(mail.To.Name, 100), address));
        MailComposer.Thread(message, thread);
        message.Headers.Add("Auto-Submitted", "auto-generated"); // RFC 3834.
        return message;
    }

    /// <remarks>
    /// The calendar stands twice: as the richest alternative, which mail programs with a calendar show with buttons (RFC 6047, 2.4), and as a file
    /// for those that know only files.
    /// </remarks>
    private Multipart BodyOf(VisitMail mail, Language language, DateTimeOffset createdAt)
    {
        var calendar = VisitCalendar.Invite(mail, options.From, createdAt, language);
        var shown = new TextPart("calendar") { Text = calendar };
        shown.ContentType.Parameters.Add("method", mail.News == VisitNews.Cancelled ? "CANCEL" : "REQUEST");
        var file = new MimePart("application", "ics")
        {
            Content = new MimeContent(new MemoryStream(Encoding.UTF8.GetBytes(calendar))), ContentTransferEncoding = ContentEncoding.Base64,
            ContentDisposition = new(ContentDisposition.Attachment) { FileName = "visit.ics" },
        };
        file.ContentType.Name = "visit.ics";
        var words = new MultipartAlternative { new TextPart("plain") { Text = Text(mail, language) }, new TextPart("html") { Text = Html(mail, language) }, shown };
        words.Headers.Add(HeaderId.ContentLanguage, language.Tag); // RFC 3282
        return new Multipart("mixed") { words, file };
    }

    private static string Text(VisitMail mail, Language language) => new StringBuilder()
        .AppendJoin('\n', VisitWords.Lines(mail, language)).Append("\n\n").Append(language.Say("visits.mail.attached"))
        .Append("\n\n-- \n").Append(language.Say("mail.footer")).Append('\n').ToString();

    private static string Html(VisitMail mail, Language language) =>
        $"<!doctype html><html lang=\"{language.Tag}\" dir=\"{language.Direction}\"><head><meta charset=\"utf-8\"><title>{Encoded(VisitWords.Subject(mail, language))}</title></head>"
        + $"<body style=\"font-family:sans-serif;max-width:40em\">\n<p>{string.Join("<br>\n", VisitWords.Lines(mail, language).Select(Encoded))}</p>\n"
        + $"<p>{Encoded(language.Say("visits.mail.attached"))}</p>\n<hr><p><small>{Encoded(language.Say("mail.footer"))}</small></p></body></html>\n";

    private static string Encoded(string text) => WebUtility.HtmlEncode(text);
}
