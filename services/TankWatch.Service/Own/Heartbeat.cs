using TankWatch.Service.Configuration;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Own;

/// <summary>
/// Tells a watcher elsewhere that all is well: a POST without content to an address of the operator's choice. Who waits for it in vain
/// knows what this service cannot say itself. It is left out while anything is late.
/// </summary>
internal sealed partial class Heartbeat(WatchOptions options, ILogger<Heartbeat> logger) : IDisposable
{
    /// <summary>The operator's own settings name the address: it may well be within one's own network.</summary>
    private readonly HttpClient client = new(new SocketsHttpHandler { AllowAutoRedirect = false, UseCookies = false, ActivityHeadersPropagator = null }) { Timeout = TimeSpan.FromSeconds(15) };

    public async Task BeatAsync(CancellationToken stop)
    {
        if (options.HeartbeatUrl is not { } address)
        {
            return;
        }

        try
        {
            using var answer = await client.PostAsync(address, content: null, stop);
            if (!answer.IsSuccessStatusCode)
            {
                LogUnheard($"it answered {(int)answer.StatusCode}");
            }
        }
        catch (Exception fault) when (fault is HttpRequestException || (fault is OperationCanceledException && !stop.IsCancellationRequested))
        {
            LogUnheard(Database.OneLine(fault));
        }
    }

    public void Dispose() => client.Dispose();

    /// <remarks>The address is not repeated: it may hold a secret.</remarks>
    [LoggerMessage(Level = LogLevel.Warning, Message = "the heartbeat was not heard: {Reason}")]
    private partial void LogUnheard(string reason);
}
