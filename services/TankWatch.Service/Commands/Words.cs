using System.Globalization;

namespace TankWatch.Service.Commands;

/// <summary>Quantities as commands say them.</summary>
internal static class Words
{
    /// <param name="count">How many.</param>
    /// <param name="one">What one of it is called.</param>
    /// <param name="many">What several are called; without it, with an s.</param>
    public static string Count(long count, string one, string? many = null) =>
        string.Create(CultureInfo.InvariantCulture, $"{count} {(count == 1 ? one : many ?? one + "s")}");

    /// <summary>In powers of 1000.</summary>
    public static string Size(long bytes) => bytes switch
    {
        < 1_000_000 => string.Create(CultureInfo.InvariantCulture, $"{bytes / 1e3:0.0} kB"),
        < 1_000_000_000 => string.Create(CultureInfo.InvariantCulture, $"{bytes / 1e6:0.0} MB"),
        _ => string.Create(CultureInfo.InvariantCulture, $"{bytes / 1e9:0.0} GB"),
    };

    public static string Seconds(TimeSpan time) => string.Create(CultureInfo.InvariantCulture, $"{time.TotalSeconds:0.0} s");
}
