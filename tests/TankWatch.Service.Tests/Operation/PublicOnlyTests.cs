using System.Net;
using System.Net.Sockets;
using TankWatch.Service.Operation;
using TankWatch.Service.Tests.Webhooks;
using Xunit;

namespace TankWatch.Service.Tests.Operation;

public sealed class PublicOnlyTests
{
    private static readonly IPAddress Public = IPAddress.Parse("9.9.9.9");

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    // The registries of IANA for special-purpose addresses, and the neighbours of each block [M].
    [Theory]
    [InlineData("0.0.0.0", false)]
    [InlineData("0.255.255.255", false)]
    [InlineData("1.0.0.0", true)]
    [InlineData("9.255.255.255", true)]
    [InlineData("10.0.0.0", false)]
    [InlineData("10.255.255.255", false)]
    [InlineData("11.0.0.0", true)]
    [InlineData("100.63.255.255", true)]
    [InlineData("100.64.0.0", false)]
    [InlineData("100.127.255.255", false)]
    [InlineData("100.128.0.0", true)]
    [InlineData("126.255.255.255", true)]
    [InlineData("127.0.0.1", false)]
    [InlineData("127.255.255.254", false)]
    [InlineData("128.0.0.1", true)]
    [InlineData("169.253.255.255", true)]
    [InlineData("169.254.169.254", false)]
    [InlineData("169.255.0.0", true)]
    [InlineData("172.15.255.255", true)]
    [InlineData("172.16.0.0", false)]
    [InlineData("172.31.255.255", false)]
    [InlineData("172.32.0.0", true)]
    [InlineData("192.0.0.8", false)]
    [InlineData("192.0.1.0", true)]
    [InlineData("192.0.2.1", false)]
    [InlineData("192.0.3.0", true)]
    [InlineData("192.88.99.1", false)]
    [InlineData("192.167.255.255", true)]
    [InlineData("192.168.0.1", false)]
    [InlineData("192.169.0.0", true)]
    [InlineData("198.17.255.255", true)]
    [InlineData("198.18.0.1", false)]
    [InlineData("198.19.255.255", false)]
    [InlineData("198.20.0.0", true)]
    [InlineData("198.51.100.7", false)]
    [InlineData("203.0.113.7", false)]
    [InlineData("203.0.114.0", true)]
    [InlineData("223.255.255.255", true)]
    [InlineData("224.0.0.1", false)]
    [InlineData("239.255.255.255", false)]
    [InlineData("240.0.0.1", false)]
    [InlineData("255.255.255.255", false)]
    [InlineData("::", false)]
    [InlineData("::1", false)]
    [InlineData("::9.9.9.9", false)]
    [InlineData("::ffff:9.9.9.9", true)]
    [InlineData("::ffff:223.255.255.255", true)]
    [InlineData("::ffff:10.0.0.1", false)]
    [InlineData("::ffff:127.0.0.1", false)]
    [InlineData("::ffff:169.254.169.254", false)]
    [InlineData("64:ff9b::909:909", true)]
    [InlineData("64:ff9b::a00:1", false)]
    [InlineData("64:ff9b::7f00:1", false)]
    [InlineData("64:ff9b:1::909:909", false)]
    [InlineData("100::1", false)]
    [InlineData("1fff::1", false)]
    [InlineData("2001::1", false)]
    [InlineData("2001:1ff::1", false)]
    [InlineData("2001:200::1", true)]
    [InlineData("2001:db7::1", true)]
    [InlineData("2001:db8::1", false)]
    [InlineData("2001:db9::1", true)]
    [InlineData("2002:909:909::1", true)]
    [InlineData("2002:a00:1::1", false)]
    [InlineData("2002:7f00:1::1", false)]
    [InlineData("2620:fe::fe", true)]
    [InlineData("3fff:fff::1", false)]
    [InlineData("3fff:1000::1", true)]
    [InlineData("4000::1", false)]
    [InlineData("5f00::1", false)]
    [InlineData("fc00::1", false)]
    [InlineData("fdff:ffff::1", false)]
    [InlineData("fe80::1", false)]
    [InlineData("fe80::1%1", false)]
    [InlineData("fec0::1", false)]
    [InlineData("ff02::1", false)]
    public void An_address_is_public_or_it_is_not(string address, bool isPublic) =>
        Assert.Equal(isPublic, PublicAddresses.IsPublic(IPAddress.Parse(address)));

    [Theory]
    [InlineData("http://127.0.0.1:{0}/")]
    [InlineData("http://2130706433:{0}/")]
    [InlineData("http://0x7f.1:{0}/")]
    [InlineData("http://[::1]:{0}/")]
    [InlineData("http://[::ffff:127.0.0.1]:{0}/")]
    [InlineData("http://localhost:{0}/")]
    public async Task This_machine_is_not_asked_however_it_is_written(string url)
    {
        await using var target = await Target.StartAsync();
        using var client = new HttpClient(PublicOnlyHandler.Create(allowPrivate: false));
        var refused = await Assert.ThrowsAsync<HttpRequestException>(
            () => client.GetAsync(string.Format(System.Globalization.CultureInfo.InvariantCulture, url, new Uri(target.Url).Port), Stop));
        Assert.IsType<NotPublicException>(refused.InnerException);
        Assert.Empty(target.Requests);
    }

    [Fact]
    public async Task Where_private_addresses_are_allowed_this_machine_is_asked()
    {
        await using var target = await Target.StartAsync();
        using var client = new HttpClient(PublicOnlyHandler.Create(allowPrivate: true));
        (await client.GetAsync(target.Url, Stop)).EnsureSuccessStatusCode();
        Assert.Single(target.Requests);
    }

    [Fact]
    public async Task A_name_that_leads_elsewhere_the_second_time_is_connected_to_only_where_it_was_checked()
    {
        await using var target = await Target.StartAsync();
        var (asked, connected) = (0, new List<IPEndPoint>());
        using var client = Client(_ => [asked++ == 0 ? Public : IPAddress.Loopback], connected, target);
        using (var first = new HttpRequestMessage(HttpMethod.Get, "http://rebind.example/") { Headers = { ConnectionClose = true } })
        {
            (await client.SendAsync(first, Stop)).EnsureSuccessStatusCode();
        }

        Assert.Equal((1, new IPEndPoint(Public, 80)), (asked, Assert.Single(connected)));
        var refused = await Assert.ThrowsAsync<HttpRequestException>(() => client.GetAsync("http://rebind.example/", Stop));
        Assert.IsType<NotPublicException>(refused.InnerException);
        Assert.Single(connected);
    }

    [Fact]
    public async Task Of_a_name_with_several_addresses_the_public_ones_are_tried_in_turn()
    {
        await using var target = await Target.StartAsync();
        var (dead, connected) = (IPAddress.Parse("8.8.4.4"), new List<IPEndPoint>());
        using var client = Client(_ => [IPAddress.Loopback, dead, Public], connected, target, dead);
        (await client.GetAsync("http://several.example/", Stop)).EnsureSuccessStatusCode();
        Assert.Equal([dead, Public], connected.Select(end => end.Address));
    }

    [Fact]
    public async Task A_redirect_is_not_followed()
    {
        await using var inner = await Target.StartAsync();
        await using var target = await Target.StartAsync(context => context.Response.Redirect(inner.Url));
        using var client = new HttpClient(PublicOnlyHandler.Create(allowPrivate: true));
        Assert.Equal(HttpStatusCode.Redirect, (await client.GetAsync(target.Url, Stop)).StatusCode);
        Assert.Empty(inner.Requests);
    }

    /// <summary>Whatever address it is told to connect to, it connects to the target on this machine.</summary>
    private static HttpClient Client(Func<string, IPAddress[]> resolve, List<IPEndPoint> connected, Target target, IPAddress? dead = null) => new(PublicOnlyHandler.Create(
        allowPrivate: false,
        (host, _) => Task.FromResult(resolve(host)),
        async (end, stop) =>
        {
            connected.Add(end);
            if (end.Address.Equals(dead))
            {
                throw new SocketException((int)SocketError.ConnectionRefused);
            }

            var socket = new Socket(SocketType.Stream, ProtocolType.Tcp);
            await socket.ConnectAsync("127.0.0.1", new Uri(target.Url).Port, stop);
            return new NetworkStream(socket, ownsSocket: true);
        }));
}
