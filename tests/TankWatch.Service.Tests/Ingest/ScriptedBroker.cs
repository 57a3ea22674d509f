using System.Collections.Concurrent;
using System.Net;
using System.Net.Sockets;

namespace TankWatch.Service.Tests.Ingest;

/// <summary>A broker that does what a test says, for one connection at a time: answers politely, delivers on demand, and remembers all it was sent.</summary>
internal sealed class ScriptedBroker : IAsyncDisposable
{
    private readonly TcpListener listener = new(IPAddress.Loopback, 0);
    private readonly CancellationTokenSource ended = new();
    private readonly Task serving;
    private NetworkStream? link;

    public ScriptedBroker()
    {
        listener.Start();
        serving = ServeAsync();
    }

    public int Port => ((IPEndPoint)listener.LocalEndpoint).Port;

    public ConcurrentQueue<Wire.Packet> Heard { get; } = [];

    public IEnumerable<Wire.Packet> All(int type) => Heard.Where(packet => packet.Type == type);

    /// <summary>Gives up after <paramref name="patience"/> when the other side does not read.</summary>
    public async Task<bool> TrySendAsync(byte[] bytes, TimeSpan patience)
    {
        using var stop = CancellationTokenSource.CreateLinkedTokenSource(ended.Token);
        stop.CancelAfter(patience);
        try
        {
            await link!.WriteAsync(bytes, stop.Token);
            return true;
        }
        catch (OperationCanceledException)
        {
            return false;
        }
    }

    public async Task SendAsync(byte[] bytes) => await link!.WriteAsync(bytes, ended.Token);

    public async ValueTask DisposeAsync()
    {
        await ended.CancelAsync();
        listener.Stop();
        await serving;
        ended.Dispose();
    }

    private async Task ServeAsync()
    {
        try
        {
            while (true)
            {
                using var client = await listener.AcceptTcpClientAsync(ended.Token);
                link = client.GetStream();
                while (await Wire.ReadAsync(link, ended.Token) is { } packet)
                {
                    Heard.Enqueue(packet);
                    await AnswerAsync(packet);
                }
            }
        }
        catch (Exception fault) when (fault is OperationCanceledException or SocketException or IOException or InvalidOperationException)
        {
            // The test is over.
        }
    }

    private async Task AnswerAsync(Wire.Packet packet)
    {
        byte[]? answer = packet.Type switch
        {
            Wire.Connect => Wire.Of(Wire.ConnAck, 0, [0, 0, 0]),
            Wire.Subscribe => Wire.Of(9, 0, Wire.Short(packet.Id), [0, 1]),
            Wire.PingReq => Wire.Of(Wire.PingResp, 0),
            _ => null,
        };
        if (answer is not null)
        {
            await SendAsync(answer);
        }
    }
}
