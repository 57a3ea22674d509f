using System.Net;
using System.Net.Sockets;

namespace TankWatch.Service.Operation;

/// <summary>A host has no public address, or is none that may be asked.</summary>
public sealed class NotPublicException : IOException
{
    public NotPublicException() { }
    public NotPublicException(string message) : base(message) { }
    public NotPublicException(string message, Exception inner) : base(message, inner) { }
}

/// <summary>
/// Makes the way out for requests to addresses that users give: it leads to hosts of the open internet only, so that nobody reaches
/// through this service what only this service can reach.
/// </summary>
/// <remarks>
/// The address is looked up once, checked, and exactly that address is connected to: a name server that answers differently the second
/// time (DNS rebinding) is not asked a second time. Redirects are not followed and no proxy is used, which would look up by itself.
/// </remarks>
public static class PublicOnlyHandler
{
    /// <param name="allowPrivate">Every address may be asked, as a target within one's own network needs it.</param>
    public static SocketsHttpHandler Create(bool allowPrivate) => Create(allowPrivate, Dns.GetHostAddressesAsync, ConnectAsync);

    /// <param name="allowPrivate">Every address may be asked.</param>
    /// <param name="resolve">Tells the addresses of a host's name.</param>
    /// <param name="connect">Connects to one of them.</param>
    internal static SocketsHttpHandler Create(
        bool allowPrivate, Func<string, CancellationToken, Task<IPAddress[]>> resolve, Func<IPEndPoint, CancellationToken, Task<Stream>> connect) => new()
    {
        AllowAutoRedirect = false,
        UseProxy = false,
        UseCookies = false,
        ActivityHeadersPropagator = null, // Our traces are none of their business.
        ConnectTimeout = TimeSpan.FromSeconds(10),
        PooledConnectionLifetime = TimeSpan.FromMinutes(5), // A host that moved is looked up again.
        MaxResponseHeadersLength = 16,
        ConnectCallback = async (context, stop) =>
        {
            var (host, port) = (context.DnsEndPoint.Host, context.DnsEndPoint.Port);
            var found = IPAddress.TryParse(host, out var literal) ? [literal] : await resolve(host, stop);
            var allowed = found.Where(address => allowPrivate || PublicAddresses.IsPublic(address)).ToList();
            return allowed.Count == 0
                ? throw new NotPublicException(found.Length == 0 ? $"the host {host} has no address" : $"the host {host} has no public address")
                : await ConnectToAnyAsync(allowed, port, connect, stop);
        },
    };

    private static async Task<Stream> ConnectToAnyAsync(
        List<IPAddress> addresses, int port, Func<IPEndPoint, CancellationToken, Task<Stream>> connect, CancellationToken stop)
    {
        for (var i = 0; ; i++)
        {
            try
            {
                return await connect(new(addresses[i], port), stop);
            }
            catch (SocketException) when (i < addresses.Count - 1)
            {
                // The next one may answer.
            }
        }
    }

    private static async Task<Stream> ConnectAsync(IPEndPoint address, CancellationToken stop)
    {
        var socket = new Socket(address.AddressFamily, SocketType.Stream, ProtocolType.Tcp) { NoDelay = true };
        try
        {
            await socket.ConnectAsync(address, stop);
            return new NetworkStream(socket, ownsSocket: true);
        }
        catch
        {
            socket.Dispose();
            throw;
        }
    }
}
