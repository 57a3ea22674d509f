using Xunit;

namespace TankWatch.Browser.Tests.Connection;

/// <summary>Tests that look at the clock run when no other does.</summary>
[CollectionDefinition(Name, DisableParallelization = true)]
public sealed class Alone
{
    public const string Name = "alone";
}
