namespace TankWatch.Service.Configuration;

/// <summary>Every setting of <c>serve</c>, read and checked.</summary>
public sealed class Settings
{
    public DataOptions Data { get; } = new();
    public HttpOptions Http { get; } = new();
    public MqttOptions Mqtt { get; } = new();
    public MailOptions Mail { get; } = new();
    public WatchOptions Watch { get; } = new();
    public OperatorOptions Operator { get; } = new();
    public WebhookOptions Webhooks { get; } = new();
    public SeriesOptions Series { get; } = new();
    public LedgerOptions Ledger { get; } = new();
    public ClusterOptions Cluster { get; } = new();
}

/// <summary>What is wrong with one setting.</summary>
/// <param name="Key">As in the settings file, such as <c>Mqtt:Host</c>; for a file that cannot be read, its name.</param>
/// <param name="Message">For a person; never repeats a value that may be a secret.</param>
public sealed record SettingFault(string Key, string Message)
{
    /// <summary>The same setting as an environment variable; null for what is no setting of ours.</summary>
    public string? EnvironmentName => Key == SettingsReader.FileName || Key.StartsWith("OTEL_", StringComparison.Ordinal)
        ? null
        : SettingsReader.EnvironmentPrefix + Key.ToUpperInvariant().Replace(":", "__", StringComparison.Ordinal);

    public override string ToString() => EnvironmentName is { } name ? $"{Key} ({name}): {Message}" : $"{Key}: {Message}";
}

/// <summary>The settings, and what is wrong with them; they may be used only without faults.</summary>
/// <param name="Settings">Faulty settings keep their defaults.</param>
/// <param name="Faults">In the order of the keys.</param>
/// <param name="Source">The layered configuration, for the framework's own sections.</param>
public sealed record SettingsRead(Settings Settings, IReadOnlyList<SettingFault> Faults, IConfigurationRoot Source)
{
    public bool IsSound => Faults.Count == 0;
}
