using System.Runtime.InteropServices;

namespace TankWatch.Service.Commands;

/// <summary>Lets work that has to tidy up hear of Ctrl-C and SIGTERM, which else end a command where it stands.</summary>
internal sealed class Ending : IDisposable
{
    private readonly CancellationTokenSource ending = new();
    private readonly List<PosixSignalRegistration> signals;

    public Ending() => signals = [Hear(PosixSignal.SIGINT), Hear(PosixSignal.SIGTERM)];

    public CancellationToken Token => ending.Token;

    public void Dispose()
    {
        signals.ForEach(signal => signal.Dispose());
        ending.Dispose();
    }

    private PosixSignalRegistration Hear(PosixSignal signal) => PosixSignalRegistration.Create(signal, context =>
    {
        context.Cancel = true;
        ending.Cancel();
    });
}
