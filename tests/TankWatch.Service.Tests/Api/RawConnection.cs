using System.Net.Sockets;
using System.Text;
using Xunit;

namespace TankWatch.Service.Tests.Api;

/// <summary>A connection that says what no client library would.</summary>
internal sealed class RawConnection : IDisposable
{
    private readonly TcpClient client = new();

    public static async Task<RawConnection> OpenAsync(string url)
    {
        var connection = new RawConnection();
        await connection.client.ConnectAsync("127.0.0.1", new Uri(url).Port, TestContext.Current.CancellationToken);
        return connection;
    }

    /// <param name="url">Of the service.</param>
    /// <param name="request">Its lines, ended by <c>\n</c> here and by two characters on the wire.</param>
    /// <returns>All that came until the other side closed.</returns>
    public static async Task<string> AskAsync(string url, string request)
    {
        using var connection = await OpenAsync(url);
        await connection.SendAsync(request);
        return await connection.ReadToEndAsync();
    }

    public async Task SendAsync(string text) =>
        await client.GetStream().WriteAsync(Encoding.UTF8.GetBytes(text.ReplaceLineEndings("\r\n")), TestContext.Current.CancellationToken);

    /// <summary>Returns when so much came, or the other side closed.</summary>
    public async Task<string> ReadUntilAsync(string mark)
    {
        var (text, buffer) = (new StringBuilder(), new byte[4096]);
        while (!text.ToString().Contains(mark, StringComparison.Ordinal)
            && await client.GetStream().ReadAsync(buffer, TestContext.Current.CancellationToken) is > 0 and var count)
        {
            text.Append(Encoding.UTF8.GetString(buffer, 0, count));
        }

        return text.ToString();
    }

    public Task<string> ReadToEndAsync() => ReadUntilAsync("\0");

    public void Dispose() => client.Dispose();
}
