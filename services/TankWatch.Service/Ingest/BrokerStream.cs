using System.IO.Pipelines;
using System.Net;
using System.Net.Sockets;
using MQTTnet.Channel;

namespace TankWatch.Service.Ingest;

/// <summary>
/// The bytes to and from an external broker. The client library reads a few bytes at a time and writes each PUBACK by itself; without
/// buffers each would be a system call. Reads are served from a buffer, and writes that come while the socket is busy leave together.
/// </summary>
/// <param name="socket">Connected; owned.</param>
/// <param name="roomAsync">Waited for before more is read: while nothing can be taken, the broker is slowed instead of our memory filled.</param>
/// <param name="read">Told how many bytes were read.</param>
/// <param name="time">Tells how long the broker has been silent.</param>
internal sealed class BrokerStream(Socket socket, Func<CancellationToken, ValueTask> roomAsync, Action<int> read, TimeProvider time) : Stream
{
    private const int ReadBytes = 128 * 1024;
    private const int WriteBytes = 64 * 1024;
    private static readonly TimeSpan Farewell = TimeSpan.FromSeconds(5);

    private readonly byte[] buffer = new byte[ReadBytes];
    private readonly Pipe outgoing = new(new PipeOptions(
        pauseWriterThreshold: 4 * WriteBytes, resumeWriterThreshold: 2 * WriteBytes, minimumSegmentSize: WriteBytes, useSynchronizationContext: false));

    private readonly CancellationTokenSource reading = new();
    private readonly CancellationTokenSource closing = new();
    private int start;
    private int end;
    private long heardAt = time.GetTimestamp();
    private volatile bool waitsForRoom;
    private Task sending = Task.CompletedTask;
    private int closed;

    public override bool CanRead => true;

    public override bool CanWrite => true;

    public override bool CanSeek => false;

    public override long Length => throw new NotSupportedException();

    public override long Position
    {
        get => throw new NotSupportedException();
        set => throw new NotSupportedException();
    }

    /// <summary>For how long the broker has said nothing, although we listened.</summary>
    public TimeSpan Silence => waitsForRoom ? TimeSpan.Zero : time.GetElapsedTime(Interlocked.Read(ref heardAt));

    /// <summary>Completes when the connection is closed on both sides, or five seconds after it was disposed of.</summary>
    public Task Closed => sending;

    public static async Task<BrokerStream> ConnectAsync(
        EndPoint broker, Func<CancellationToken, ValueTask> roomAsync, Action<int> read, TimeProvider time, CancellationToken stop)
    {
        var socket = new Socket(SocketType.Stream, ProtocolType.Tcp) { NoDelay = true };
        try
        {
            await socket.ConnectAsync(broker, stop);
        }
        catch
        {
            socket.Dispose();
            throw;
        }

        var stream = new BrokerStream(socket, roomAsync, read, time);
        stream.sending = Task.Run(stream.SendAsync, CancellationToken.None);
        return stream;
    }

    public override ValueTask<int> ReadAsync(Memory<byte> destination, CancellationToken cancellationToken = default) =>
        start < end ? new(Serve(destination.Span)) : FillAsync(destination, cancellationToken);

    public override Task<int> ReadAsync(byte[] buffer, int offset, int count, CancellationToken cancellationToken) =>
        ReadAsync(buffer.AsMemory(offset, count), cancellationToken).AsTask();

    public override async ValueTask WriteAsync(ReadOnlyMemory<byte> source, CancellationToken cancellationToken = default)
    {
        var flushed = await outgoing.Writer.WriteAsync(source, cancellationToken);
        if (flushed.IsCompleted)
        {
            throw new IOException("the connection has ended");
        }
    }

    public override Task WriteAsync(byte[] buffer, int offset, int count, CancellationToken cancellationToken) =>
        WriteAsync(buffer.AsMemory(offset, count), cancellationToken).AsTask();

    /// <remarks>Nothing to do: what is written leaves as soon as the socket takes it.</remarks>
    public override Task FlushAsync(CancellationToken cancellationToken) => Task.CompletedTask;

    public override void Flush()
    {
    }

    public override int Read(byte[] buffer, int offset, int count) => throw new NotSupportedException("asynchronous only");

    public override void Write(byte[] buffer, int offset, int count) => throw new NotSupportedException("asynchronous only");

    public override long Seek(long offset, SeekOrigin origin) => throw new NotSupportedException();

    public override void SetLength(long value) => throw new NotSupportedException();

    /// <summary>Ends reading at once; what was written, such as the last acknowledgements, has five seconds to leave.</summary>
    protected override void Dispose(bool disposing)
    {
        if (disposing && Interlocked.Exchange(ref closed, 1) == 0)
        {
            outgoing.Writer.Complete();
            closing.CancelAfter(Farewell);
            reading.Cancel();
        }

        base.Dispose(disposing);
    }

    private int Serve(Span<byte> destination)
    {
        var count = Math.Min(destination.Length, end - start);
        buffer.AsSpan(start, count).CopyTo(destination);
        start += count;
        return count;
    }

    private async ValueTask<int> FillAsync(Memory<byte> destination, CancellationToken stop)
    {
        var room = roomAsync(stop);
        if (!room.IsCompletedSuccessfully)
        {
            waitsForRoom = true;
            await room;
            Interlocked.Exchange(ref heardAt, time.GetTimestamp());
            waitsForRoom = false;
        }

        using var either = CancellationTokenSource.CreateLinkedTokenSource(stop, reading.Token);
        (start, end) = (0, await socket.ReceiveAsync(buffer, either.Token));
        Interlocked.Exchange(ref heardAt, time.GetTimestamp());
        read(end);
        return Serve(destination.Span);
    }

    private async Task SendAsync()
    {
        try
        {
            ReadResult written;
            do
            {
                written = await outgoing.Reader.ReadAsync(closing.Token);
                foreach (var part in written.Buffer)
                {
                    await SendWholeAsync(part);
                }

                outgoing.Reader.AdvanceTo(written.Buffer.End);
            }
            while (!written.IsCompleted);

            await SeeBrokerCloseAsync();
        }
        catch (Exception fault) when (fault is SocketException or OperationCanceledException or ObjectDisposedException)
        {
            // Whoever reads or writes next is told.
        }
        finally
        {
            await outgoing.Reader.CompleteAsync();
            socket.Dispose();
        }
    }

    /// <summary>Closed by us with data unread, the connection would be reset, and acknowledgements on their way be lost.</summary>
    private async ValueTask SeeBrokerCloseAsync()
    {
        socket.Shutdown(SocketShutdown.Send);
        var rest = new byte[WriteBytes];
        while (await socket.ReceiveAsync(rest, closing.Token) > 0)
        {
        }
    }

    private async ValueTask SendWholeAsync(ReadOnlyMemory<byte> part)
    {
        while (!part.IsEmpty)
        {
            part = part[await socket.SendAsync(part, closing.Token)..];
        }
    }
}

/// <summary>Gives the client library a <see cref="BrokerStream"/> for the one connection of a session; TLS is laid over it by the library.</summary>
internal sealed class BrokerStreamProvider(Func<CancellationToken, ValueTask> roomAsync, Action<int> read, TimeProvider time) : IMqttClientStreamProvider
{
    /// <summary>Null until connected.</summary>
    public BrokerStream? Stream { get; private set; }

    public async Task<Stream> ConnectAsync(EndPoint brokerEndPoint, CancellationToken cancellationToken) =>
        Stream = await BrokerStream.ConnectAsync(brokerEndPoint, roomAsync, read, time, cancellationToken);
}
