using MimeKit;
using TankWatch.Core.Texts;

namespace TankWatch.Service.Pages.Mails;

/// <summary>Reads back the mails that <c>demo</c> keeps as files, so that a visitor sees what people would have got.</summary>
internal static class PickupReader
{
    private const int Shown = 20;

    /// <param name="folder">May not exist yet.</param>
    public static IReadOnlyList<MailView> Read(string folder)
    {
        var files = Directory.Exists(folder) ? new DirectoryInfo(folder).GetFiles("*.eml") : [];
        return [.. files.OrderByDescending(file => file.LastWriteTimeUtc).Take(Shown).Select(Open).OfType<MailView>()];
    }

    /// <summary>Null for a file that is no mail, or that has gone meanwhile.</summary>
    private static MailView? Open(FileInfo file)
    {
        try
        {
            using var stream = file.OpenRead();
            var mail = MimeMessage.Load(stream);
            return new(
                $"mail-{Path.GetFileNameWithoutExtension(file.Name).Replace('.', '-')}", mail.Subject ?? "", mail.From.ToString(), mail.To.ToString(), Words.Say("mails.at", ("at", PhraseMoment.In(TimeZoneInfo.Utc, mail.Date)), ("zone", "UTC")),
                mail.TextBody ?? "");
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException or FormatException)
        {
            return null;
        }
    }
}
