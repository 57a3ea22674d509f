using System.Buffers;
using System.Collections.Concurrent;
using System.Net;
using System.Net.Sockets;
using MimeKit;
using SmtpServer;
using SmtpServer.Protocol;
using SmtpServer.Storage;

namespace TankWatch.Service.Tests.Mail;

/// <summary>A real SMTP server in this process, which answers as the test wants.</summary>
internal sealed class MailServer : MessageStore, IAsyncDisposable
{
    private readonly CancellationTokenSource stop = new();
    private Task running = Task.CompletedTask;
    private int sessions;

    public int Port { get; } = FreePort();

    /// <summary>Connections so far.</summary>
    public int Sessions => Volatile.Read(ref sessions);

    /// <summary>All mails that were offered, whatever was answered.</summary>
    public ConcurrentQueue<MimeMessage> Offered { get; } = [];

    public Func<MimeMessage, SmtpResponse> Answer { get; set; } = _ => SmtpResponse.Ok;

    public MailServer Start()
    {
        var options = new SmtpServerOptionsBuilder().ServerName("localhost")
            .Endpoint(endpoint => endpoint.Endpoint(new IPEndPoint(IPAddress.Loopback, Port))).Build();
        var services = new SmtpServer.ComponentModel.ServiceProvider();
        services.Add((IMessageStore)this);
        var server = new SmtpServer.SmtpServer(options, services);
        server.SessionCreated += (_, _) => Interlocked.Increment(ref sessions);
        running = server.StartAsync(stop.Token);
        return this;
    }

    public override Task<SmtpResponse> SaveAsync(
        ISessionContext context, IMessageTransaction transaction, ReadOnlySequence<byte> buffer, CancellationToken cancellationToken)
    {
        var mail = MimeMessage.Load(new MemoryStream(buffer.ToArray()), cancellationToken);
        Offered.Enqueue(mail);
        return Task.FromResult(Answer(mail));
    }

    public async ValueTask DisposeAsync()
    {
        await stop.CancelAsync();
        await running;
        stop.Dispose();
    }

    public static int FreePort()
    {
        using var listener = new TcpListener(IPAddress.Loopback, 0);
        listener.Start();
        return ((IPEndPoint)listener.LocalEndpoint).Port;
    }
}
