using System.Collections.Concurrent;
using System.Globalization;
using System.IO.Compression;
using System.Text;
using System.Text.Json;
using TankWatch.Core.Findings;
using TankWatch.Core.Replaying;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Tests.Replaying;

/// <summary>A recording with the truth about it, from the folder Data/hydraulics; see ORIGIN.md there.</summary>
internal sealed class Recorded
{
    private static readonly ConcurrentDictionary<string, Lazy<Recorded>> All = new();

    private readonly Lazy<ReplayResult> result;

    private Recorded(string name)
    {
        var folder = Path.Combine(AppContext.BaseDirectory, "Data", "hydraulics", name);
        SiteJson = File.ReadAllText(Path.Combine(folder, "site.json"));
        Plan = Plans.Of(SiteJson);
        Truth = JsonDocument.Parse(File.ReadAllBytes(Path.Combine(folder, "truth.json"))).RootElement;
        using var file = File.OpenRead(Path.Combine(folder, "recording.jsonl.gz"));
        using var text = new StreamReader(new GZipStream(file, CompressionMode.Decompress), Encoding.UTF8);
        Lines = text.ReadToEnd().Split('\n', StringSplitOptions.RemoveEmptyEntries);
        result = new(() => Run(Lines));
    }

    public static readonly string[] Names =
    [
        "a1_constant", "a2_orifice", "o01_healthy_small", "o02_healthy_large", "o03a_leak_20", "o03b_leak_60", "o03c_leak_200", "o04_weak_pump",
        "o05_pump_decline", "o06_riser_valve", "o07_backdrain", "o08_supply_failure", "o09_guests", "o10_short_cycling",
    ];

    public string SiteJson { get; }
    public SitePlan Plan { get; }
    public JsonElement Truth { get; }
    public string[] Lines { get; }
    public ReplayResult Result => result.Value;

    public static Recorded Of(string name) => All.GetOrAdd(name, n => new(() => new(n))).Value;

    public ReplayResult Run(IEnumerable<string> lines) => Run(lines, Plan);

    /// <param name="lines">Of the recording.</param>
    /// <param name="site">Another site file.</param>
    public static ReplayResult Run(IEnumerable<string> lines, string site) => Run(lines, Plans.Of(site));

    private static ReplayResult Run(IEnumerable<string> lines, SitePlan plan)
    {
        var recording = new Recording(plan);
        foreach (var line in lines)
        {
            recording.Add(line);
        }

        return Replay.Run(plan, recording);
    }

    public static string Json(ReplayResult result)
    {
        using var stream = new MemoryStream();
        ResultJson.Write(stream, result);
        return Encoding.UTF8.GetString(stream.ToArray());
    }

    public static DateTimeOffset Time(JsonElement value) => DateTimeOffset.Parse(value.GetString()!, CultureInfo.InvariantCulture);

    public IEnumerable<Finding> Findings(FindingKind kind) => Result.Findings.Where(f => f.Kind == kind);

    /// <summary>For the message of an assertion: what was found, and when.</summary>
    public string Told() => string.Join("; ", Result.Findings.Select(f => $"{FindingNames.Of(f.Kind)} {f.Device} {f.RaisedAt:u}"));
}
