namespace TankWatch.Service.Commands;

/// <summary>
/// Takes the flags that are settings (<c>--Mqtt:Host x</c>, <c>--mqtt:host=x</c>) out of a command line. They are not declared one
/// by one: the settings reader knows the keys, and lists a misspelt flag together with every other fault.
/// </summary>
/// <param name="Rest">What remains for the command itself.</param>
/// <param name="Settings">By key.</param>
/// <param name="Fault">What is wrong with the flags themselves, or null.</param>
internal sealed record SettingFlags(IReadOnlyList<string> Rest, IReadOnlyDictionary<string, string> Settings, string? Fault)
{
    public static SettingFlags Of(IReadOnlyList<string> args)
    {
        var rest = new List<string>();
        var settings = new Dictionary<string, string>(StringComparer.OrdinalIgnoreCase);
        string? fault = null;
        for (var i = 0; i < args.Count; i++)
        {
            if (KeyOf(args[i]) is not { } key)
            {
                rest.Add(args[i]);
                continue;
            }

            var equals = args[i].IndexOf('=', StringComparison.Ordinal);
            var value = equals >= 0 ? args[i][(equals + 1)..] : i + 1 < args.Count ? args[++i] : null;
            if (value is null)
            {
                fault ??= $"--{key} needs a value.";
            }
            else if (!settings.TryAdd(key, value))
            {
                fault ??= $"--{key} stands twice.";
            }
        }

        return new(rest, settings, fault);
    }

    /// <summary>A setting's flag has its section before a colon, and no other flag has one.</summary>
    private static string? KeyOf(string arg)
    {
        var equals = arg.IndexOf('=', StringComparison.Ordinal);
        var name = equals >= 0 ? arg[..equals] : arg;
        return name.StartsWith("--", StringComparison.Ordinal) && name.IndexOf(':', StringComparison.Ordinal) > 2 ? name[2..] : null;
    }
}
