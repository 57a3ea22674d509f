using TankWatch.Browser.Tests.Services;
using Xunit;

[assembly: AssemblyFixture(typeof(SharedDemo))]

namespace TankWatch.Browser.Tests.Services;

/// <summary>One demonstration for all tests that only read.</summary>
public sealed class SharedDemo : IAsyncDisposable
{
    private readonly Lazy<Task<RunningService>> starting = new(RunningService.DemoAsync);

    /// <summary>Started when first asked for.</summary>
    public Task<RunningService> ServiceAsync => starting.Value;

    public async ValueTask DisposeAsync()
    {
        if (starting is { IsValueCreated: true, Value.IsCompletedSuccessfully: true })
        {
            await (await starting.Value).DisposeAsync();
        }
    }
}
