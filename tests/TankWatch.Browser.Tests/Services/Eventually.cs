using TankWatch.Browser.Tests.Browsing;
using Xunit;

namespace TankWatch.Browser.Tests.Services;

/// <summary>Waiting for what happens in other processes.</summary>
internal static class Eventually
{
    /// <summary>Asks again and again, and returns the first answer that will do; a timeout names what was missing.</summary>
    public static async Task<T> Comes<T>(Func<Task<T>> ask, Func<T, bool> willDo, string what, TimeSpan? within = null)
    {
        using var patience = new CancellationTokenSource(within ?? TimeSpan.FromMilliseconds(Patience.PageMilliseconds));
        using var look = new PeriodicTimer(TimeSpan.FromMilliseconds(40));
        while (true)
        {
            if (await ask() is var answer && willDo(answer))
            {
                return answer;
            }

            try
            {
                await look.WaitForNextTickAsync(patience.Token);
            }
            catch (OperationCanceledException)
            {
                Assert.Fail($"still missing: {what}; the last answer was {answer}");
            }
        }
    }
}
