using System.Globalization;
using System.Text.Unicode;

namespace TankWatch.Service.Load;

/// <summary>A simulated unit: what it says, and the site file that makes a service accept it.</summary>
/// <param name="Number">From 1.</param>
/// <param name="Boot">The same for all messages of a run, higher in each later run.</param>
internal sealed record LoadUnit(int Number, long Boot)
{
    /// <summary>One probe at a time, up and down again.</summary>
    private static readonly string[] Wet = ["true,false,false", "true,true,false", "true,true,true", "true,true,false"];

    public string Id { get; } = $"load-{Number.ToString("00000", CultureInfo.InvariantCulture)}";

    public string Topic => $"tankwatch/v1/{Id}/level";

    /// <param name="payload">Where to; 256 bytes are enough.</param>
    /// <param name="seq">From 1.</param>
    /// <param name="at">UTC.</param>
    /// <returns>The bytes written.</returns>
    public int WriteMessage(Span<byte> payload, long seq, DateTimeOffset at) => Utf8.TryWrite(
        payload, CultureInfo.InvariantCulture,
        $$"""{"at":"{{at:yyyy-MM-ddTHH:mm:ss.fffZ}}","boot":{{Boot}},"seq":{{seq}},"tank":"roof","wet":[{{Wet[seq % Wet.Length]}}]}""", out var written)
        ? written : throw new ArgumentException("too short for a message", nameof(payload));

    public string SiteFile() => $$"""
        {
          "id": "{{Id}}", "name": "Load {{Number.ToString(CultureInfo.InvariantCulture)}}", "timeZone": "Etc/UTC",
          "tanks": [ { "id": "roof", "role": "overhead", "capacityLitres": 6000, "probes": [
            { "name": "low", "volumeLitres": 1500 }, { "name": "mid", "volumeLitres": 3900 }, { "name": "high", "volumeLitres": 5800 } ] } ],
          "pumps": [ { "id": "p1", "from": null, "to": [ "roof" ] } ],
          "units": [ { "id": "{{Id}}", "reports": [ "roof", "p1" ] } ]
        }
        """;
}
