namespace TankWatch.Service.Configuration;

// The settings of `serve`, one class per section. Keys and defaults are the published contract; unknown keys, wrong types and
// values out of range are refused by SettingsReader, so these classes hold checked values only.

/// <summary>Section <c>Data</c>: where the embedded store lives.</summary>
public sealed class DataOptions
{
    /// <summary>The embedded store's folder.</summary>
    public string Path { get; set; } = "./data";

    /// <summary>Messages older than this are deleted, whole days at a time; the figures of days are kept for ever. At least 30.</summary>
    public int KeepRawDays { get; set; } = 400;

    /// <summary>So many messages wait in memory, at most or a little more, to be put into per-device order: 100 to 10,000,000.</summary>
    public int FoldRows { get; set; } = 200_000;
}

/// <summary>Section <c>Http</c>.</summary>
public sealed class HttpOptions
{
    /// <summary>Addresses to listen on, separated by semicolons.</summary>
    public string Urls { get; set; } = "http://127.0.0.1:8080";

    /// <summary>Where people reach this service, through whatever stands in front of it; null for mails without links.</summary>
    public string? PublicUrl { get; set; }
}

/// <summary>Whose broker the field units talk to.</summary>
public enum MqttMode { Embedded, External }

/// <summary>Section <c>Mqtt</c>.</summary>
public sealed class MqttOptions
{
    public MqttMode Mode { get; set; } = MqttMode.Embedded;

    /// <summary>Of the embedded broker, 1 to 65535.</summary>
    public int ListenPort { get; set; } = 1883;

    /// <summary>Of the embedded broker: an IP address.</summary>
    public string ListenAddress { get; set; } = "127.0.0.1";

    /// <summary>Of the external broker; needed in external mode.</summary>
    public string? Host { get; set; }

    /// <summary>Of the external broker, 1 to 65535.</summary>
    public int Port { get; set; } = 1883;

    public string? User { get; set; }

    /// <summary>A file that holds the password alone; a line end after it is not part of it.</summary>
    public string? PasswordFile { get; set; }

    public bool Tls { get; set; }

    /// <summary>A PEM file with the authority to trust instead of the system's; implies nothing unless <see cref="Tls"/>.</summary>
    public string? CaFile { get; set; }

    /// <summary>Stable over restarts, so that the broker keeps the session and what was queued for it.</summary>
    public string ClientId { get; set; } = "tankwatch";

    /// <summary>When set, subscribes as <c>$share/NAME/…</c>.</summary>
    public string? ShareName { get; set; }
}

/// <summary>How the connection to the mail server is protected.</summary>
public enum MailSecurity { None, StartTls, Tls }

/// <summary>Section <c>Mail</c>. Without <see cref="SmtpHost"/>, mail is written to <see cref="PickupFolder"/>.</summary>
public sealed class MailOptions
{
    public string? SmtpHost { get; set; }

    /// <summary>1 to 65535; null for the usual port of <see cref="Security"/>: 25, 587 with starttls, 465 with tls.</summary>
    public int? SmtpPort { get; set; }

    public string? User { get; set; }

    /// <summary>A file that holds the password alone; a line end after it is not part of it.</summary>
    public string? PasswordFile { get; set; }

    public MailSecurity Security { get; set; } = MailSecurity.None;

    public string From { get; set; } = "tankwatch@localhost";

    /// <summary>Null for <c>mail</c> under <see cref="DataOptions.Path"/>.</summary>
    public string? PickupFolder { get; set; }
}

/// <summary>Section <c>Watch</c>: how the service watches itself.</summary>
public sealed class WatchOptions
{
    /// <summary>Is sent a POST every minute while all is well; null for none.</summary>
    public Uri? HeartbeatUrl { get; set; }
}

/// <summary>Section <c>Operator</c>: who looks after this service itself.</summary>
public sealed class OperatorOptions
{
    /// <summary>Addresses, separated by commas; told when the service is cut off, late or cannot send. Empty for nobody.</summary>
    public IReadOnlyList<string> Email { get; set; } = [];

    /// <summary>A language tag.</summary>
    public string Language { get; set; } = "en";
}

/// <summary>Section <c>Webhooks</c>: what a target may be.</summary>
public sealed class WebhookOptions
{
    /// <summary>Targets may have addresses that are not of the open internet: whoever may add one then reaches all that this service reaches.</summary>
    public bool AllowPrivateTargets { get; set; }

    /// <summary>Targets may be without TLS.</summary>
    public bool AllowHttp { get; set; }
}

/// <summary>Where observations are kept.</summary>
public enum SeriesKind { Embedded, InfluxDb }

/// <summary>Section <c>Series</c>.</summary>
public sealed class SeriesOptions
{
    public SeriesKind Kind { get; set; } = SeriesKind.Embedded;
    public string? InfluxUrl { get; set; }
    public string? Org { get; set; }
    public string? Bucket { get; set; }
    public string? TokenFile { get; set; }
}

/// <summary>Where sites, units, keys, alerts and the outbox are kept.</summary>
public enum LedgerKind { Embedded, PostgreSql }

/// <summary>Section <c>Ledger</c>.</summary>
public sealed class LedgerOptions
{
    public LedgerKind Kind { get; set; } = LedgerKind.Embedded;
    public string? ConnectionString { get; set; }
}

/// <summary>Whether several processes share the sites.</summary>
public enum ClusterKind { None, Orleans }

/// <summary>Section <c>Cluster</c>.</summary>
public sealed class ClusterOptions
{
    public ClusterKind Kind { get; set; } = ClusterKind.None;
}
