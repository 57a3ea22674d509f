using System.Text.Encodings.Web;
using System.Text.Json;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Texts;
using TankWatch.Service.Mail;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Push;

/// <summary>What a browser is to show, and where it leads, as <c>sw.js</c> reads it.</summary>
internal static class PushContent
{
    /// <summary>Where receipts go; the browser's token follows, and of a letter the letter's.</summary>
    public const string Receipts = "/push/receipts";

    // Letters of other scripts as they are: escaped, a text in one of them would be twice as long as a message may be.
    private static readonly JsonSerializerOptions Short = new() { Encoder = JavaScriptEncoder.UnsafeRelaxedJsonEscaping };

    /// <summary>Short, since a message may have 4096 bytes (RFC 8291, 4).</summary>
    /// <param name="push">The letter.</param>
    /// <param name="browser">To show it.</param>
    /// <param name="links">Make the address for whoever is signed in no more.</param>
    public static string Of(DuePush push, PushSubscriber browser, MailLinks links)
    {
        var (letter, language) = (push.Entry.Letter, Languages.Of(push.Entry.Letter.Notification.To.Language));
        var alert = letter.Notification.Alert;
        var zone = TimeZoneInfo.TryFindSystemTimeZoneById(letter.TimeZone, out var found) ? found : TimeZoneInfo.Utc;
        return Write(language, new()
        {
            ["title"] = MailWords.OneLine(MailWords.Subject(letter, language, isReply: false), 120),
            ["body"] = MailWords.OneLine(language.Say(MailWords.Opening(letter.Notification, zone)), 200) + "\n" + MailWords.OneLine(language.Say(alert.Finding.Text.Summary), 400),
            ["tag"] = alert.Id,
            ["address"] = $"/alerts/{alert.Id}",
            ["link"] = links.AcknowledgeLink(letter.Key, push.Entry.CreatedAt),
            ["acknowledge"] = alert.State == AlertState.Unacknowledged ? language.Say("link.acknowledge.button") : "",
            ["receipt"] = $"{Receipts}/{browser.Token}/{push.Token}",
            ["stays"] = IsGrave(alert.Gravity) ? "yes" : "",
        });
    }

    /// <param name="browser">To show it.</param>
    /// <param name="language">Of whoever asked for it.</param>
    /// <param name="address">Where it leads.</param>
    public static string Trial(PushSubscriber browser, Language language, string address) => Write(language, new()
    {
        ["title"] = language.Say("push.trial.title"),
        ["body"] = language.Say(Phrase.Of("push.trial.body", ("email", browser.Email))),
        ["tag"] = "trial",
        ["address"] = address,
        ["receipt"] = $"{Receipts}/{browser.Token}",
    });

    /// <summary>Wakes a phone that saves power, and stays on a screen until somebody has seen it: its mail is not sent.</summary>
    public static bool IsGrave(Priority priority) => priority >= Priority.High;

    private static string Write(Language language, Dictionary<string, string> content)
    {
        (content["lang"], content["dir"]) = (language.Tag, language.Direction);
        return JsonSerializer.Serialize(content, Short);
    }
}
