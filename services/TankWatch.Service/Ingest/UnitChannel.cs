using System.Buffers;
using System.Net;
using System.Net.Sockets;
using System.Security.Cryptography.X509Certificates;
using MQTTnet.Channel;

namespace TankWatch.Service.Ingest;

/// <summary>
/// The bytes to and from one unit, at either end. The library's own channel asks the system three times for a message; a thousand
/// units that send a few messages a second each make that the largest cost of all. Reads are served from a small buffer, and what is written
/// leaves together when <see cref="Flush"/> is called.
/// </summary>
/// <param name="socket">Connected; owned.</param>
internal sealed class UnitChannel(Socket socket) : IMqttChannel
{
    /// <summary>Some thirty messages of a unit; a thousand idle units hold 4 MB.</summary>
    private const int ReadBytes = 4096;

    /// <summary>Over it nothing more is read from a unit that does not read its acknowledgements.</summary>
    private const int QueuedLimit = 64 * 1024;

    private readonly byte[] buffer = new byte[ReadBytes];
    private readonly Lock gate = new();
    private int start;
    private int end;
    private ArrayBufferWriter<byte> queued = new();
    private ArrayBufferWriter<byte> leaving = new();
    private bool isSending;
    private bool hasEnded;
    private TaskCompletionSource? drained;

    public X509Certificate2? ClientCertificate => null;

    public bool IsSecureConnection => false;

    // The library asks for them when the connection may be gone already.
    public EndPoint? RemoteEndPoint { get; } = socket.RemoteEndPoint;

    public EndPoint? LocalEndPoint { get; } = socket.LocalEndPoint;

    /// <summary>All that came is read: whoever answers now waits for nothing.</summary>
    public bool IsReadEmpty => start == end;

    public Task ConnectAsync(CancellationToken cancellationToken) => Task.CompletedTask;

    public Task DisconnectAsync(CancellationToken cancellationToken)
    {
        Dispose();
        return Task.CompletedTask;
    }

    public Task<int> ReadAsync(byte[] buffer, int offset, int count, CancellationToken cancellationToken) => start < end
        ? Task.FromResult(Serve(buffer.AsSpan(offset, count)))
        : FillAsync(buffer.AsMemory(offset, count), cancellationToken);

    /// <summary>Queues; never waits.</summary>
    public Task WriteAsync(ReadOnlySequence<byte> buffer, bool isEndOfPacket, CancellationToken cancellationToken)
    {
        lock (gate)
        {
            if (hasEnded)
            {
                return Task.FromException(new IOException("the connection has ended"));
            }

            foreach (var part in buffer)
            {
                queued.Write(part.Span);
            }
        }

        return Task.CompletedTask;
    }

    /// <summary>Lets go what is queued; what the socket does not take at once follows when it does.</summary>
    public void Flush()
    {
        lock (gate)
        {
            if (isSending || queued.WrittenCount == 0)
            {
                return;
            }

            isSending = true;
        }

        _ = SendAsync();
    }

    /// <summary>Completes when the unit has read enough of what was written to it, or is gone.</summary>
    public Task RoomAsync()
    {
        lock (gate)
        {
            return hasEnded || queued.WrittenCount < QueuedLimit
                ? Task.CompletedTask : (drained ??= new(TaskCreationOptions.RunContinuationsAsynchronously)).Task;
        }
    }

    public void Dispose()
    {
        End();
        socket.Dispose();
    }

    private int Serve(Span<byte> destination)
    {
        var count = Math.Min(destination.Length, end - start);
        buffer.AsSpan(start, count).CopyTo(destination);
        start += count;
        return count;
    }

    private async Task<int> FillAsync(Memory<byte> destination, CancellationToken stop)
    {
        await RoomAsync();
        (start, end) = (0, await socket.ReceiveAsync(buffer, stop));
        return Serve(destination.Span);
    }

    private async Task SendAsync()
    {
        try
        {
            while (TakeQueued())
            {
                for (var part = leaving.WrittenMemory; !part.IsEmpty;)
                {
                    part = part[await socket.SendAsync(part)..];
                }

                leaving.ResetWrittenCount();
            }
        }
        catch (Exception fault) when (fault is SocketException or ObjectDisposedException)
        {
            End(); // Whoever reads or writes next is told.
        }
    }

    private bool TakeQueued()
    {
        lock (gate)
        {
            isSending = queued.WrittenCount > 0 && !hasEnded;
            if (isSending)
            {
                (queued, leaving) = (leaving, queued);
                drained?.TrySetResult();
                drained = null;
            }

            return isSending;
        }
    }

    private void End()
    {
        lock (gate)
        {
            hasEnded = true;
            drained?.TrySetResult();
            drained = null;
        }
    }
}
