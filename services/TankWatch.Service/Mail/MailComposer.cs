using System.Net;
using System.Security.Cryptography;
using System.Text;
using MimeKit;
using TankWatch.Service.Configuration;

namespace TankWatch.Service.Mail;

/// <summary>Makes a mail of what it is to say: the same bytes of meaning each time, so that a repeat is recognised as one.</summary>
/// <param name="options">Who sends.</param>
/// <param name="links">Null where nobody can be led to this service.</param>
public sealed class MailComposer(MailOptions options, MailLinks? links = null)
{
    /// <summary>For letters about visits.</summary>
    internal VisitComposer Visits { get; } = new(options);

    public MailLinks? Links => links;

    private MailboxAddress From => MailboxAddress.Parse(options.From);

    /// <summary>
    /// The Message-ID of an intention, without angle brackets. It depends on the intention and on the installation alone, since two
    /// installations may number their alerts alike and mail the same person.
    /// </summary>
    public string MessageIdOf(string key, string installation)
    {
        var hash = Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes($"{installation}\n{key}")));
        return $"{hash[..32]}@{From.Domain}";
    }

    /// <param name="text">What to say, and to whom; null when nothing is left to say.</param>
    /// <param name="fault">Why there is no mail to send, when null is returned.</param>
    public MimeMessage? TryCompose(MailText? text, out string? fault)
    {
        if (text is null || AddressOf(text.To.Email) is not { } address)
        {
            fault = text is null ? "what it was about was deleted" : "the contact has no mail address that can be used";
            return null;
        }

        fault = null;

        var message = new MimeMessage
        {
            MessageId = text.MessageId,
            Date = text.Date,
            Subject = text.Subject,
            Body = new MultipartAlternative { new TextPart("plain") { Text = Text(text) }, new TextPart("html") { Text = Html(text) } },
        };
        message.From.Add(From);
        message.To.Add(new MailboxAddress(MailWords.OneLine(text.To.Name, 100), address));
        message.Body.Headers.Add(HeaderId.ContentLanguage, text.Language.Tag); // RFC 3282
        Thread(message, text.Thread);
        message.Headers.Add(HeaderId.ListId, $"TankWatch <alerts.{From.Domain}>"); // RFC 2919
        if (text.Unsubscribe is { } unsubscribe)
        {
            Unsubscribe(message, unsubscribe.Address);
        }

        // RFC 3834: keeps holiday notices and other machines from answering.
        message.Headers.Add("Auto-Submitted", "auto-generated");
        return message;
    }

    /// <remarks>RFC 8058: one click is a POST, and only to an address with TLS. Its headers must be signed (DKIM), which is the mail server's part.</remarks>
    private static void Unsubscribe(MimeMessage message, string address)
    {
        message.Headers.Add(HeaderId.ListUnsubscribe, $"<{address}>");
        if (address.StartsWith("https:", StringComparison.OrdinalIgnoreCase))
        {
            message.Headers.Add(HeaderId.ListUnsubscribePost, "List-Unsubscribe=One-Click");
        }
    }

    /// <remarks>RFC 5322, 3.6.4: In-Reply-To names the parent; References is the parent's References followed by the parent.</remarks>
    internal static void Thread(MimeMessage message, IReadOnlyList<string> thread)
    {
        if (thread.Count == 0)
        {
            return;
        }

        message.InReplyTo = thread[^1];
        foreach (var id in thread)
        {
            message.References.Add(id);
        }
    }

    /// <summary>The address alone: one that hides a name, a second address or a line break is not taken.</summary>
    internal static string? AddressOf(string? email) =>
        email is not null && !email.Any(char.IsControl)
        && MailboxAddress.TryParse(email, out var parsed) && parsed.Address == email && email.IndexOf('@', StringComparison.Ordinal) > 0 ? email : null;

    private static string Text(MailText mail)
    {
        var text = new StringBuilder();
        foreach (var section in mail.Sections)
        {
            if (section.Heading is { } heading)
            {
                text.Append(heading).Append(":\n");
            }

            foreach (var line in section.Lines)
            {
                text.Append(section.Heading is null ? "" : "- ").Append(line).Append('\n');
            }

            text.Append(section.Link is { } link ? $"{link.Words}:\n{link.Address}\n" : "").Append('\n');
        }

        text.Append("-- \n").AppendJoin('\n', mail.Footer).Append('\n');
        return mail.Unsubscribe is { } unsubscribe ? text.Append(unsubscribe.Words).Append(":\n").Append(unsubscribe.Address).Append('\n').ToString() : text.ToString();
    }

    private static string Html(MailText mail)
    {
        var html = new StringBuilder($"<!doctype html><html lang=\"{mail.Language.Tag}\" dir=\"{mail.Language.Direction}\"><head><meta charset=\"utf-8\"><title>")
            .Append(WebUtility.HtmlEncode(mail.Subject)).Append("</title></head><body style=\"font-family:sans-serif;max-width:40em\">\n");
        foreach (var section in mail.Sections)
        {
            if (section.Heading is { } heading)
            {
                html.Append("<h2 style=\"font-size:1em\">").Append(WebUtility.HtmlEncode(heading)).Append("</h2>\n<ul>\n");
            }

            foreach (var line in section.Lines)
            {
                var tag = section.Heading is null ? "p" : "li";
                html.Append('<').Append(tag).Append('>').Append(WebUtility.HtmlEncode(line)).Append("</").Append(tag).Append(">\n");
            }

            html.Append(section.Heading is null ? "" : "</ul>\n").Append(section.Link is { } link ? $"<p>{Anchor(link)}</p>\n" : "");
        }

        var footer = mail.Footer.Select(WebUtility.HtmlEncode);
        return html.Append("<hr><p><small>").AppendJoin("<br>", mail.Unsubscribe is { } unsubscribe ? footer.Append(Anchor(unsubscribe)) : footer).Append("</small></p></body></html>\n").ToString();
    }

    private static string Anchor(MailLink link) => $"<a href=\"{WebUtility.HtmlEncode(link.Address)}\">{WebUtility.HtmlEncode(link.Words)}</a>";
}
