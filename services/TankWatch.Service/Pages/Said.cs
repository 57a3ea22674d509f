namespace TankWatch.Service.Pages;

/// <summary>A part of a sentence.</summary>
/// <param name="Text">Our own words, or what somebody else wrote.</param>
/// <param name="IsName">Somebody else wrote it: it may hold anything, and is isolated.</param>
/// <param name="Address">Where it leads; null for nowhere.</param>
public readonly record struct Said(string Text, bool IsName = false, string? Address = null)
{
    public static implicit operator Said(string text) => new(text);

    public static Said Name(string text, string? address = null) => new(text, true, address);
}
