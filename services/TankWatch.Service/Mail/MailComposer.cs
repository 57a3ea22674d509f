using System.Net;
using System.Security.Cryptography;
using System.Text;
using MimeKit;
using TankWatch.Core.Texts;
using TankWatch.Service.Configuration;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Mail;

/// <summary>Makes the mail of a letter: the same bytes of meaning each time, so that a repeat is recognised as one.</summary>
public sealed class MailComposer(MailOptions options)
{
    /// <summary>For letters about visits.</summary>
    internal VisitComposer Visits { get; } = new(options);

    /// <summary>
    /// The Message-ID of an intention, without angle brackets. It depends on the intention and on the installation alone, since two
    /// installations may number their alerts alike and mail the same person.
    /// </summary>
    public string MessageIdOf(string key, string installation)
    {
        var hash = Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes($"{installation}\n{key}")));
        return $"{hash[..32]}@{MailboxAddress.Parse(options.From).Domain}";
    }

    /// <param name="letter">What to say, and to whom.</param>
    /// <param name="thread">Message-IDs of the earlier mails about this alert to this person, oldest first.</param>
    /// <param name="createdAt">When the mail was intended.</param>
    /// <param name="fault">Why there is no mail to send, when null is returned.</param>
    public MimeMessage? TryCompose(OutboxLetter letter, IReadOnlyList<string> thread, DateTimeOffset createdAt, out string? fault)
    {
        var contact = letter.Notification.To;
        if (AddressOf(contact.Email) is not { } address)
        {
            fault = "the contact has no mail address that can be used";
            return null;
        }

        fault = null;
        var language = MailWords.LanguageOf(letter);
        var message = new MimeMessage
        {
            MessageId = letter.MessageId,
            Date = createdAt,
            Subject = MailWords.Subject(letter, language),
            Body = new MultipartAlternative { new TextPart("plain") { Text = Text(letter, language) }, new TextPart("html") { Text = Html(letter, language) } },
        };
        message.From.Add(MailboxAddress.Parse(options.From));
        message.To.Add(new MailboxAddress(MailWords.OneLine(contact.Name, 100), address));
        message.Body.Headers.Add(HeaderId.ContentLanguage, language.Tag); // RFC 3282
        Thread(message, thread);

        // RFC 3834: keeps holiday notices and other machines from answering.
        message.Headers.Add("Auto-Submitted", "auto-generated");
        return message;
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

    private static string Text(OutboxLetter letter, Language language)
    {
        var text = new StringBuilder();
        foreach (var section in MailWords.Sections(letter, language))
        {
            if (section.Heading is { } heading)
            {
                text.Append(heading).Append(":\n");
            }

            foreach (var line in section.Lines)
            {
                text.Append(section.Heading is null ? "" : "- ").Append(line).Append('\n');
            }

            text.Append('\n');
        }

        return text.Append("-- \n").AppendJoin('\n', MailWords.Footer(letter, language)).Append('\n').ToString();
    }

    private static string Html(OutboxLetter letter, Language language)
    {
        var html = new StringBuilder($"<!doctype html><html lang=\"{language.Tag}\" dir=\"{language.Direction}\"><head><meta charset=\"utf-8\"><title>")
            .Append(WebUtility.HtmlEncode(MailWords.Subject(letter, language))).Append("</title></head><body style=\"font-family:sans-serif;max-width:40em\">\n");
        foreach (var section in MailWords.Sections(letter, language))
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

            html.Append(section.Heading is null ? "" : "</ul>\n");
        }

        return html.Append("<hr><p><small>").AppendJoin("<br>", MailWords.Footer(letter, language).Select(WebUtility.HtmlEncode))
            .Append("</small></p></body></html>\n").ToString();
    }
}
