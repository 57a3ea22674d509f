using TankWatch.Core.Sites;
using TankWatch.Core.Texts;

namespace TankWatch.Service.Mail;

/// <summary>A heading and what stands under it; the text and the HTML part show the same ones.</summary>
public sealed record MailSection(string? Heading, IReadOnlyList<string> Lines)
{
    /// <summary>Stands after the lines; null for none.</summary>
    public MailLink? Link { get; init; }
}

/// <param name="Address">A URL.</param>
/// <param name="Words">What one does by opening it.</param>
public sealed record MailLink(string Address, string Words);

/// <summary>All that a mail says, in the language of its reader, before it becomes headers, text and HTML.</summary>
/// <param name="To">The reader.</param>
/// <param name="MessageId">Without angle brackets.</param>
/// <param name="Date">When it was intended.</param>
/// <param name="Subject">One line.</param>
/// <param name="Sections">In the order in which they are read.</param>
/// <param name="Footer">Lines at its end.</param>
public sealed record MailText(Contact To, string MessageId, DateTimeOffset Date, string Subject, IReadOnlyList<MailSection> Sections, IReadOnlyList<string> Footer)
{
    /// <summary>Message-IDs of the earlier mails about the same to this person, oldest first.</summary>
    public IReadOnlyList<string> Thread { get; init; } = [];

    /// <summary>By which the reader stops mails like this one; null where the law expects none, as when it is critical, or no address of ours is known.</summary>
    public MailLink? Unsubscribe { get; init; }

    /// <summary>The reader's, as the site file has it.</summary>
    public Language Language => Languages.Of(To.Language);
}
