namespace TankWatch.Service.Configuration;

/// <summary>What settings must hold of each other, once each is sound by itself.</summary>
internal static class SettingRelations
{
    /// <param name="settings">Faulty ones hold their defaults.</param>
    /// <param name="faults">Those already found: a key that is faulty already is not told twice.</param>
    public static IReadOnlyList<SettingFault> Check(Settings settings, IReadOnlyList<SettingFault> faults)
    {
        var told = faults.Select(f => f.Key).ToHashSet(StringComparer.OrdinalIgnoreCase);
        return [.. All(settings).Where(f => !told.Contains(f.Key))];
    }

    private static IEnumerable<SettingFault> All(Settings s) => [.. Mqtt(s.Mqtt), .. Mail(s.Mail), .. NotBuiltYet(s), .. Telemetry()];

    private static IEnumerable<SettingFault> Mqtt(MqttOptions mqtt)
    {
        if (mqtt is { Mode: MqttMode.External, Host: null })
        {
            yield return new("Mqtt:Host", "is needed when Mqtt:Mode is external.");
        }

        if (mqtt is { PasswordFile: not null, User: null })
        {
            yield return new("Mqtt:User", "is needed with Mqtt:PasswordFile.");
        }

        if (mqtt is { CaFile: not null, Tls: false })
        {
            yield return new("Mqtt:Tls", "must be true with Mqtt:CaFile; without it nothing would be encrypted.");
        }
    }

    private static IEnumerable<SettingFault> Mail(MailOptions mail)
    {
        if (mail.SmtpHost is null && (mail.SmtpPort is not null || mail.User is not null || mail.PasswordFile is not null))
        {
            yield return new("Mail:SmtpHost", "is needed with Mail:SmtpPort, Mail:User or Mail:PasswordFile.");
        }

        if (mail is { PasswordFile: not null, User: null })
        {
            yield return new("Mail:User", "is needed with Mail:PasswordFile.");
        }

        if (mail is { User: not null, PasswordFile: null })
        {
            yield return new("Mail:PasswordFile", "is needed with Mail:User.");
        }
    }

    private static IEnumerable<SettingFault> NotBuiltYet(Settings s)
    {
        if (s.Series.Kind != SeriesKind.Embedded)
        {
            yield return new("Series:Kind", "influxdb comes with a later version; this one knows embedded.");
        }

        if (s.Ledger.Kind != LedgerKind.Embedded)
        {
            yield return new("Ledger:Kind", "postgresql comes with a later version; this one knows embedded.");
        }

        if (s.Cluster.Kind != ClusterKind.None)
        {
            yield return new("Cluster:Kind", "orleans comes with a later version; this one knows none.");
        }
    }

    /// <summary>Not ours to name, but a bad value would otherwise stop the start with a foreign exception.</summary>
    private static IEnumerable<SettingFault> Telemetry()
    {
        const string name = "OTEL_EXPORTER_OTLP_ENDPOINT";
        var value = Environment.GetEnvironmentVariable(name);
        if (!string.IsNullOrWhiteSpace(value)
            && !(Uri.TryCreate(value, UriKind.Absolute, out var uri) && uri.Scheme is "http" or "https"))
        {
            yield return new(name, "is not an address like http://127.0.0.1:4317.");
        }
    }
}
