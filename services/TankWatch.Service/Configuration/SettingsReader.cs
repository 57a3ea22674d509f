using System.Collections;
using Microsoft.Extensions.Configuration.Memory;

namespace TankWatch.Service.Configuration;

/// <summary>
/// Layers the settings file, the environment and the flags, and lists everything that is wrong with them at once: somebody who
/// sets up a service should not have to start it six times to find six faults.
/// </summary>
public static class SettingsReader
{
    public const string FileName = "appsettings.json";
    public const string EnvironmentPrefix = "TANKWATCH_";

    /// <summary>Sections that the framework reads by itself; their keys are its own business and not checked here.</summary>
    private static readonly string[] FrameworkSections = ["Serilog", "Logging", "Kestrel", "AllowedHosts"];

    private static readonly string[] KnownSections =
        [.. SettingTable.All.Select(s => s.Key[..s.Key.IndexOf(':', StringComparison.Ordinal)]).Distinct()];

    /// <param name="folder">Where the settings file is looked for; its absence is no fault.</param>
    /// <param name="environment">All environment variables; only those with the prefix are read.</param>
    /// <param name="flags">By key, such as <c>Mqtt:Host</c>.</param>
    public static SettingsRead Read(string folder, IDictionary environment, IReadOnlyDictionary<string, string> flags)
    {
        var faults = new List<SettingFault>();
        var source = Layer(folder, environment, flags, faults);
        var settings = new Settings();
        foreach (var (key, value) in source.AsEnumerable().OrderBy(pair => pair.Key, StringComparer.OrdinalIgnoreCase))
        {
            if (Fault(settings, key, value, source.GetSection(key).GetChildren().Any()) is { } message)
            {
                faults.Add(new(SettingTable.Find(key)?.Key ?? key, message));
            }
        }

        faults.AddRange(SettingRelations.Check(settings, faults));
        return new(settings, faults, source);
    }

    /// <summary>As the process was started: the current folder and its environment.</summary>
    public static SettingsRead Read(IReadOnlyDictionary<string, string> flags) =>
        Read(Directory.GetCurrentDirectory(), Environment.GetEnvironmentVariables(), flags);

    private static IConfigurationRoot Layer(
        string folder, IDictionary environment, IReadOnlyDictionary<string, string> flags, List<SettingFault> faults)
    {
        var file = new ConfigurationBuilder();
        try
        {
            file.SetBasePath(folder).AddJsonFile(FileName, optional: true, reloadOnChange: false).Build();
        }
        catch (Exception e) when (e is InvalidDataException or FormatException or IOException or UnauthorizedAccessException)
        {
            faults.Add(new(FileName, "cannot be read: " + FirstLine((e.InnerException ?? e).Message)));
            file = new ConfigurationBuilder();
        }

        file.Add(new MemoryConfigurationSource { InitialData = FromEnvironment(environment) });
        file.Add(new MemoryConfigurationSource { InitialData = flags.Select(f => KeyValuePair.Create(f.Key, (string?)f.Value)) });
        return file.Build();
    }

    private static IEnumerable<KeyValuePair<string, string?>> FromEnvironment(IDictionary environment) =>
        from DictionaryEntry entry in environment
        let name = (string)entry.Key
        where name.StartsWith(EnvironmentPrefix, StringComparison.OrdinalIgnoreCase)
        select KeyValuePair.Create(name[EnvironmentPrefix.Length..].Replace("__", ":", StringComparison.Ordinal), (string?)entry.Value);

    private static string? Fault(Settings settings, string key, string? value, bool hasChildren)
    {
        var section = key.Split(':')[0];
        if (FrameworkSections.Contains(section, StringComparer.OrdinalIgnoreCase))
        {
            return null;
        }

        if (SettingTable.Find(key) is { } setting)
        {
            // An empty value is how a compose file or a shell says "not set".
            return hasChildren ? "takes one value, not a list or an object."
                : string.IsNullOrWhiteSpace(value) ? null
                : setting.Take(settings, value.Trim());
        }

        var isSection = KnownSections.Contains(key, StringComparer.OrdinalIgnoreCase);
        return isSection && string.IsNullOrEmpty(value) ? null
            : isSection ? "is a section, not a setting."
            : hasChildren ? null // Its members are named one by one.
            : "is not a setting." + Suggestion(key);
    }

    private static string Suggestion(string key)
    {
        var (nearest, distance) = SettingTable.All.Select(s => (s.Key, Distance: Spelling.Distance(Plain(s.Key), Plain(key))))
            .MinBy(candidate => candidate.Distance);
        return distance <= 3 ? $" Was {nearest} meant?" : "";
    }

    /// <summary>A single underscore for the separator is the commonest slip of all.</summary>
    private static string Plain(string key) =>
        key.Replace("_", "", StringComparison.Ordinal).Replace(":", "", StringComparison.Ordinal).ToUpperInvariant();

    private static string FirstLine(string text) => text.Split('\n')[0].Trim();
}
