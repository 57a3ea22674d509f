using System.Globalization;
using System.Net;
using MimeKit;

namespace TankWatch.Service.Configuration;

/// <summary>One key that the service knows.</summary>
/// <param name="Key">Section and name.</param>
/// <param name="Take">Puts a given value into the settings; returns what is wrong with it, or null.</param>
internal sealed record Setting(string Key, Func<Settings, string, string?> Take);

/// <summary>All keys of <c>serve</c>, each with how its value is read. A key that does not stand here is a misspelling.</summary>
internal static class SettingTable
{
    public static IReadOnlyList<Setting> All { get; } =
    [
        Text("Data:Path", (s, v) => s.Data.Path = v),
        Whole("Data:KeepRawDays", 30, 36_500, (s, v) => s.Data.KeepRawDays = v),
        Whole("Data:FoldRows", 100, 10_000_000, (s, v) => s.Data.FoldRows = v),
        new("Http:Urls", (s, v) => Urls(v) ?? Keep(() => s.Http.Urls = v)),
        new("Http:PublicUrl", (s, v) => IsPublic(v) ? Keep(() => s.Http.PublicUrl = v) : $"'{v}' is not an address like https://water.example.org."),

        Choice<MqttMode>("Mqtt:Mode", (s, v) => s.Mqtt.Mode = v),
        Port("Mqtt:ListenPort", (s, v) => s.Mqtt.ListenPort = v),
        new("Mqtt:ListenAddress", (s, v) => IPAddress.TryParse(v, out _) ? Keep(() => s.Mqtt.ListenAddress = v) : $"'{v}' is not an IP address."),
        Host("Mqtt:Host", (s, v) => s.Mqtt.Host = v),
        Port("Mqtt:Port", (s, v) => s.Mqtt.Port = v),
        Text("Mqtt:User", (s, v) => s.Mqtt.User = v),
        ReadableFile("Mqtt:PasswordFile", (s, v) => s.Mqtt.PasswordFile = v),
        Switch("Mqtt:Tls", (s, v) => s.Mqtt.Tls = v),
        ReadableFile("Mqtt:CaFile", (s, v) => s.Mqtt.CaFile = v),
        TopicWord("Mqtt:ClientId", (s, v) => s.Mqtt.ClientId = v),
        TopicWord("Mqtt:ShareName", (s, v) => s.Mqtt.ShareName = v),

        Host("Mail:SmtpHost", (s, v) => s.Mail.SmtpHost = v),
        Port("Mail:SmtpPort", (s, v) => s.Mail.SmtpPort = v),
        Text("Mail:User", (s, v) => s.Mail.User = v),
        ReadableFile("Mail:PasswordFile", (s, v) => s.Mail.PasswordFile = v),
        Choice<MailSecurity>("Mail:Security", (s, v) => s.Mail.Security = v),
        new("Mail:From", (s, v) => IsMailAddress(v) ? Keep(() => s.Mail.From = v) : $"'{v}' is not a mail address."),
        Text("Mail:PickupFolder", (s, v) => s.Mail.PickupFolder = v),

        new("Operator:Email", (s, v) => Addresses(v) is { } all ? Keep(() => s.Operator.Email = all) : $"'{v}' is not one or more mail addresses, separated by commas."),
        Text("Operator:Language", (s, v) => s.Operator.Language = v),

        new("Watch:HeartbeatUrl", (s, v) => Uri.TryCreate(v, UriKind.Absolute, out var url) && url.Scheme is "http" or "https"
            ? Keep(() => s.Watch.HeartbeatUrl = new(v)) : "it is no address like https://watcher.example/path."),

        Switch("Webhooks:AllowPrivateTargets", (s, v) => s.Webhooks.AllowPrivateTargets = v),
        Switch("Webhooks:AllowHttp", (s, v) => s.Webhooks.AllowHttp = v),

        Choice<SeriesKind>("Series:Kind", (s, v) => s.Series.Kind = v),
        Text("Series:InfluxUrl", (s, v) => s.Series.InfluxUrl = v),
        Text("Series:Org", (s, v) => s.Series.Org = v),
        Text("Series:Bucket", (s, v) => s.Series.Bucket = v),
        ReadableFile("Series:TokenFile", (s, v) => s.Series.TokenFile = v),

        Choice<LedgerKind>("Ledger:Kind", (s, v) => s.Ledger.Kind = v),
        Text("Ledger:ConnectionString", (s, v) => s.Ledger.ConnectionString = v),

        Choice<ClusterKind>("Cluster:Kind", (s, v) => s.Cluster.Kind = v),
    ];

    public static Setting? Find(string key) => All.FirstOrDefault(s => s.Key.Equals(key, StringComparison.OrdinalIgnoreCase));

    private static Setting Text(string key, Action<Settings, string> put) => new(key, (s, v) =>
        v.Any(char.IsControl) ? "holds a control character." : Keep(() => put(s, v)));

    private static Setting Whole(string key, int least, int most, Action<Settings, int> put) => new(key, (s, v) =>
        int.TryParse(v, NumberStyles.None, CultureInfo.InvariantCulture, out var number) && number >= least && number <= most
            ? Keep(() => put(s, number))
            : string.Create(CultureInfo.InvariantCulture, $"'{v}' is not a whole number from {least} to {most}."));

    private static Setting Port(string key, Action<Settings, int> put) => new(key, (s, v) =>
        int.TryParse(v, NumberStyles.None, CultureInfo.InvariantCulture, out var port) && port is >= 1 and <= 65535
            ? Keep(() => put(s, port))
            : $"'{v}' is not a port, a whole number from 1 to 65535.");

    private static Setting Switch(string key, Action<Settings, bool> put) => new(key, (s, v) =>
        bool.TryParse(v, out var on) ? Keep(() => put(s, on)) : $"'{v}' is neither true nor false.");

    private static Setting Host(string key, Action<Settings, string> put) => new(key, (s, v) =>
        Uri.CheckHostName(v) != UriHostNameType.Unknown
            ? Keep(() => put(s, v))
            : $"'{v}' is not a host name or an IP address; the port has its own key.");

    /// <summary>A word of an MQTT topic filter or session: no separator, no wildcard.</summary>
    private static Setting TopicWord(string key, Action<Settings, string> put) => new(key, (s, v) =>
        v.Length <= 64 && v.All(c => char.IsAsciiLetterOrDigit(c) || c is '.' or '_' or '-')
            ? Keep(() => put(s, v))
            : $"'{v}' is not 1 to 64 of A-Z a-z 0-9 . _ -");

    private static Setting Choice<T>(string key, Action<Settings, T> put) where T : struct, Enum => new(key, (s, v) =>
        Enum.GetNames<T>().FirstOrDefault(n => n.Equals(v, StringComparison.OrdinalIgnoreCase)) is { } name
            ? Keep(() => put(s, Enum.Parse<T>(name)))
            : $"'{v}' is not one of {string.Join(", ", Enum.GetNames<T>().Select(n => n.ToLowerInvariant()))}.");

    /// <summary>
    /// The file is opened to see whether it can be; what it holds is not looked at. Its name is not repeated either: sooner or later
    /// somebody gives the password itself where its file belongs.
    /// </summary>
    private static Setting ReadableFile(string key, Action<Settings, string> put) => new(key, (s, v) =>
    {
        try
        {
            using var opened = File.OpenRead(v);
            return Keep(() => put(s, v));
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException or ArgumentException or NotSupportedException)
        {
            return "the file it names cannot be read.";
        }
    });

    private static string? Urls(string value)
    {
        foreach (var url in value.Split(';', StringSplitOptions.TrimEntries))
        {
            // Kestrel takes '*' and '+' for every address, which a URI does not.
            var plain = url.Replace("//*", "//0.0.0.0", StringComparison.Ordinal).Replace("//+", "//0.0.0.0", StringComparison.Ordinal);
            if (!Uri.TryCreate(plain, UriKind.Absolute, out var uri) || uri.Scheme is not ("http" or "https") || uri.PathAndQuery != "/")
            {
                return $"'{url}' is not an address like http://127.0.0.1:8080.";
            }
        }

        return null;
    }

    /// <summary>It stands in mails, so that it must be plain: no name, no question, nothing to be written in another way. A path may follow the host.</summary>
    private static bool IsPublic(string value) =>
        Uri.TryCreate(value, UriKind.Absolute, out var uri) && uri is { Scheme: "http" or "https", Query: "", Fragment: "", UserInfo: "" }
        && value.Length <= 200 && value.All(c => char.IsAsciiLetterOrDigit(c) || c is ':' or '/' or '.' or '-' or '_' or '[' or ']');

    private static List<string>? Addresses(string value)
    {
        var all = value.Split(',', StringSplitOptions.TrimEntries).ToList();
        return all.TrueForAll(one => IsMailAddress(one) && MailboxAddress.Parse(one).Address == one) ? all : null;
    }

    private static bool IsMailAddress(string value) =>
        MailboxAddress.TryParse(value, out var address) && address.Address.Contains('@', StringComparison.Ordinal);

    private static string? Keep(Action put)
    {
        put();
        return null;
    }
}
