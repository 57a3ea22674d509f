namespace TankWatch.Service.Pages.Strips;

/// <summary>The time that a strip shows.</summary>
/// <param name="From">UTC, included.</param>
/// <param name="To">UTC, excluded; after <paramref name="From"/>.</param>
public readonly record struct StripWindow(DateTimeOffset From, DateTimeOffset To)
{
    public TimeSpan Length => To - From;
}
