using System.Net;
using System.Net.Sockets;

namespace TankWatch.Service.Tests.Ingest;

/// <summary>A network between a client and a server on this machine that can go bad: swallow what is sent, or break every connection.</summary>
internal sealed class FaultProxy : IAsyncDisposable
{
    private readonly TcpListener listener = new(IPAddress.Loopback, 0);
    private readonly CancellationTokenSource ended = new();
    private readonly List<Task> work = [];
    private readonly List<TcpClient> links = [];
    private readonly int target;
    private long toServer;
    private long toClient;
    private volatile bool swallows;

    public FaultProxy(int target)
    {
        this.target = target;
        listener.Start();
        work.Add(AcceptAsync());
    }

    public int Port => ((IPEndPoint)listener.LocalEndpoint).Port;

    /// <summary>Bytes that clients have sent, swallowed or not.</summary>
    public long ToServer => Interlocked.Read(ref toServer);

    /// <summary>Bytes that servers have sent, swallowed or not.</summary>
    public long ToClient => Interlocked.Read(ref toClient);

    /// <summary>From now on nothing arrives, and nobody is told: as behind a router that lost its memory.</summary>
    public void Swallow() => swallows = true;

    /// <summary>Ends every connection; new ones are welcome.</summary>
    public void Break()
    {
        lock (links)
        {
            links.ForEach(link => link.Dispose());
            links.Clear();
        }
    }

    public async ValueTask DisposeAsync()
    {
        await ended.CancelAsync();
        listener.Stop();
        Break();
        Task[] all;
        lock (links)
        {
            all = [.. work];
        }

        await Task.WhenAll(all);
        ended.Dispose();
    }

    private async Task AcceptAsync()
    {
        try
        {
            while (true)
            {
                var client = await listener.AcceptTcpClientAsync(ended.Token);
                var server = new TcpClient { NoDelay = true };
                await server.ConnectAsync(IPAddress.Loopback, target, ended.Token);
                client.NoDelay = true;
                lock (links)
                {
                    links.AddRange([client, server]);
                    work.Add(CarryAsync(client, server, count => Interlocked.Add(ref toServer, count)));
                    work.Add(CarryAsync(server, client, count => Interlocked.Add(ref toClient, count)));
                }
            }
        }
        catch (Exception fault) when (fault is OperationCanceledException or SocketException or InvalidOperationException)
        {
            // The test is over.
        }
    }

    private async Task CarryAsync(TcpClient from, TcpClient to, Action<int> count)
    {
        try
        {
            var socket = to.Client; // Gone from a client that Break disposed of.
            var buffer = new byte[64 * 1024];
            while (await from.GetStream().ReadAsync(buffer, ended.Token) is var read and > 0)
            {
                count(read);
                if (!swallows)
                {
                    await to.GetStream().WriteAsync(buffer.AsMemory(0, read), ended.Token);
                }
            }

            socket.Shutdown(SocketShutdown.Send);
        }
        catch (Exception fault) when (fault is OperationCanceledException or IOException or SocketException or ObjectDisposedException or InvalidOperationException)
        {
            // This connection is over.
        }
    }
}
