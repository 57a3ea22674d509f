using System.Reflection;
using TankWatch.Core.Findings;
using Xunit;

namespace TankWatch.Core.Tests;

/// <summary>Core decides; it does nothing to the world and knows no other project.</summary>
public sealed class ArchitectureTests
{
    // What a calculation may need. Nothing that opens a file, a socket, a process or a console.
    private static readonly string[] Allowed =
    [
        "System.Runtime", "System.Collections", "System.Collections.Immutable", "System.Linq", "System.Memory", "System.Text.Json", "System.Security.Cryptography",
        "System.Text.Encoding.Extensions", "System.Numerics.Vectors", "System.Runtime.Numerics", "MathNet.Numerics",
        "System.IO.Hashing", "System.Formats.Cbor", "Google.Protobuf", "System.Runtime.InteropServices", // The last is what spreading a list becomes.
    ];

    private static readonly Assembly Core = typeof(SiteStep).Assembly;

    [Fact]
    public void Core_refers_only_to_what_calculates() =>
        Assert.Empty(Core.GetReferencedAssemblies().Select(a => a.Name!).Except(Allowed, StringComparer.Ordinal));

    [Fact]
    public void Core_has_no_type_of_io_time_or_tasks_in_its_signatures()
    {
        const BindingFlags All = BindingFlags.Public | BindingFlags.NonPublic | BindingFlags.Instance | BindingFlags.Static | BindingFlags.DeclaredOnly;
        var used = Core.GetTypes().SelectMany(t => t.GetMembers(All)).SelectMany(m => m switch
        {
            MethodInfo method => method.GetParameters().Select(p => p.ParameterType).Append(method.ReturnType),
            FieldInfo field => [field.FieldType],
            _ => [],
        }).Select(t => t.IsByRef ? t.GetElementType()! : t).Distinct().ToList();
        Assert.Contains(typeof(DateTimeOffset), used);
        Assert.DoesNotContain(used, t => t == typeof(TimeProvider) || t == typeof(Random) || typeof(Task).IsAssignableFrom(t)
            || (t.Namespace is "System.IO" && t != typeof(Stream)) || t.Namespace is "System.Net" or "System.Net.Http" or "System.Threading" or "System.Diagnostics");
    }

    [Fact]
    public void State_and_records_are_immutable()
    {
        var records = Core.GetExportedTypes().Where(t => t.GetMethod("<Clone>$") is not null).ToList();
        Assert.True(records.Count > 30);
        Assert.All(records, record => Assert.All(
            record.GetProperties(BindingFlags.Public | BindingFlags.Instance),
            p => Assert.True(
                p.SetMethod is null || p.SetMethod.ReturnParameter.GetRequiredCustomModifiers().Any(m => m.Name == "IsExternalInit"), $"{record.Name}.{p.Name} can be set")));
    }

    [Fact]
    public void The_kinds_of_finding_are_those_of_the_interface() =>
        // INTERFACE 5: stored names, never renamed. A new one is added here; service-fault, of this service itself, is ours (docs/alerts.md).
        Assert.Equal(
            [
                "area-outage", "back-drain", "control-fault", "heavy-use", "leak", "left-in-manual", "low-supply", "no-start", "overflow-risk", "overload-trips",
                "power-failure", "probe-fault", "repeated-dry-trips", "run-too-long", "running-out", "service-fault", "short-cycling", "slow-fill", "unit-silent", "voltage-trips", "weak-pump",
            ],
            FindingNames.AllKinds.Order(StringComparer.Ordinal));

    [Fact]
    public void Every_kind_is_found_by_its_name() =>
        Assert.All(Enum.GetValues<FindingKind>(), kind => Assert.Equal((true, kind), (FindingNames.TryParse(FindingNames.Of(kind), out var same), same)));

    [Fact]
    public void The_priorities_and_alert_states_are_those_of_the_interface()
    {
        Assert.Equal(["low", "medium", "high", "critical"], Enum.GetValues<Priority>().Select(FindingNames.Of));
        Assert.Equal(
            ["unacknowledged", "acknowledged", "returned-unacknowledged", "normal", "shelved", "suppressed", "out-of-service"],
            Enum.GetValues<TankWatch.Core.Alerts.AlertState>().Select(TankWatch.Core.Alerts.AlertNames.Of));
    }
}
