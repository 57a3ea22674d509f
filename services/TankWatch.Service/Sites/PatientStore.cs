using Microsoft.Data.Sqlite;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Sites;

/// <summary>Waits for a store that does not take or give data: nothing is lost that is tried until it does.</summary>
internal sealed partial class PatientStore(ReadyState ready, TimeProvider time, ILogger logger)
{
    private static readonly TimeSpan Retry = TimeSpan.FromSeconds(1);

    /// <summary>Runs <paramref name="work"/> until the store takes it. Meanwhile nothing is acknowledged and the service is not ready.</summary>
    /// <exception cref="SqliteException">A constraint: trying again would not help.</exception>
    /// <exception cref="StoreReplacedException">The store is another one since.</exception>
    public async Task<T> UntilAsync<T>(Func<T> work, CancellationToken stop)
    {
        while (true)
        {
            stop.ThrowIfCancellationRequested();
            try
            {
                var result = work();
                ready.Set(Stage.Store, null);
                return result;
            }
            catch (Exception fault) when (
                (fault is SqliteException sqlite && sqlite.SqliteErrorCode != SQLitePCL.raw.SQLITE_CONSTRAINT) || fault is StoreException and not StoreReplacedException)
            {
                await ReportAsync(fault, stop);
            }
        }
    }

    private async Task ReportAsync(Exception fault, CancellationToken stop)
    {
        var reason = $"the store does not take or give data: {Database.OneLine(fault)}";
        ready.Set(Stage.Store, reason);
        LogFault(reason);
        await Task.Delay(Retry, time, stop);
    }

    [LoggerMessage(Level = LogLevel.Error, Message = "{Reason}; nothing is acknowledged until it does")]
    private partial void LogFault(string reason);
}
