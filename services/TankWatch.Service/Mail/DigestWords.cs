using TankWatch.Core.Texts;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Mail;

/// <summary>What a digest says: a section a building, a line an alert.</summary>
public static class DigestWords
{
    public static MailText Of(DigestMail mail, DateTimeOffset createdAt, MailLinks? links)
    {
        var language = Languages.Of(mail.To.Language);
        List<MailSection> sections = [new(null, [language.Say(mail.Opening)]), .. mail.Sites.Select(site => new MailSection(MailWords.OneLine(site.Name), [.. site.Lines.Select(language.Say)]))];
        if (mail.MoreSites > 0)
        {
            sections.Add(new(null, [language.Say(Phrase.Of("digest.rest", ("count", mail.MoreLines), ("sites", mail.MoreSites)))]));
        }

        return new(
            mail.To, mail.MessageId, createdAt, language.Say(Phrase.Of("digest.subject", ("sites", mail.Sites.Length + mail.MoreSites))), [.. sections.Select(MailWords.Clean)], [language.Say("mail.footer")])
        {
            Unsubscribe = MailWords.UnsubscribeLink(mail.To, language, links),
        };
    }
}
