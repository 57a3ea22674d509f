using System.Net;
using System.Net.Sockets;
using System.Threading.Channels;
using MQTTnet.Adapter;
using MQTTnet.Diagnostics.Logger;
using MQTTnet.Server;
using TankWatch.Service.Sites;

namespace TankWatch.Service.Ingest;

/// <summary>Where units connect to the embedded broker, and from where their acknowledgements leave.</summary>
/// <param name="address">To listen on; only its family is listened on.</param>
/// <param name="inbox">The sites.</param>
/// <param name="time">Stamps what is received.</param>
internal sealed class UnitListener(IPEndPoint address, SiteInbox inbox, TimeProvider time) : IMqttServerAdapter
{
    /// <summary>All units come back together after a power cut.</summary>
    private const int Waiting = 1024;

    private static readonly TimeSpan AfterFault = TimeSpan.FromSeconds(1);

    // Bounded by the inbox: what is here was there, and leaves without waiting for anybody.
    private readonly Channel<UnitDelivery> durable = Channel.CreateUnbounded<UnitDelivery>(new UnboundedChannelOptions { SingleReader = true });
    private readonly CancellationTokenSource stopping = new();
    private Socket? socket;
    private Task running = Task.CompletedTask;

    public Func<IMqttChannelAdapter, Task>? ClientHandler { get; set; }

    /// <exception cref="SocketException">The port is not free.</exception>
    public Task StartAsync(MqttServerOptions options, IMqttNetLogger logger)
    {
        socket = new(address.AddressFamily, SocketType.Stream, ProtocolType.Tcp);
        socket.Bind(address);
        socket.Listen(Waiting);
        running = Task.WhenAll(Task.Run(AcceptAsync), Task.Run(AcknowledgeAsync));
        return Task.CompletedTask;
    }

    public async Task StopAsync()
    {
        socket?.Dispose();
        await stopping.CancelAsync();
        durable.Writer.TryComplete();
        await running;
    }

    public void Dispose()
    {
        socket?.Dispose();
        stopping.Dispose();
    }

    private async Task AcceptAsync()
    {
        while (!stopping.IsCancellationRequested)
        {
            try
            {
                var unit = await socket!.AcceptAsync(stopping.Token);
                unit.NoDelay = true;
                _ = ServeAsync(unit);
            }
            catch (Exception fault) when (fault is OperationCanceledException or ObjectDisposedException)
            {
                return;
            }
            catch (SocketException)
            {
                // Out of files, or the unit has gone already: others are still to be let in.
                await Task.Delay(AfterFault, time, stopping.Token).ContinueWith(_ => { }, TaskScheduler.Default);
            }
        }
    }

    private async Task ServeAsync(Socket unit)
    {
        await Task.Yield();
        using var channel = new UnitChannel(unit);
        using var link = new UnitLink(channel, inbox, durable.Writer, time);
        await ClientHandler!(link);
    }

    /// <summary>One task for all units: what became durable together leaves each unit's socket together.</summary>
    private async Task AcknowledgeAsync()
    {
        var touched = new HashSet<UnitLink>();
        while (await durable.Reader.WaitToReadAsync())
        {
            while (durable.Reader.TryRead(out var delivery))
            {
                await delivery.Link.AcknowledgeAsync(delivery.PacketId);
                touched.Add(delivery.Link);
            }

            foreach (var link in touched)
            {
                link.Flush();
            }

            touched.Clear();
        }
    }
}
