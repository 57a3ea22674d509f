using System.Net;
using System.Net.Sockets;

namespace TankWatch.Service.Operation;

/// <summary>Which addresses belong to hosts of the open internet, and not to this machine, its network or to nobody.</summary>
/// <remarks>
/// After the special-purpose address registries of IANA (RFC 6890 and its updates). IPv6 is asked the other way round: only 2000::/3 is
/// given out, so what is new elsewhere is refused until it is known. An address that carries an IPv4 address within it leads where that
/// one leads.
/// </remarks>
internal static class PublicAddresses
{
    private static readonly IPNetwork[] SpecialV4 =
    [
        Of("0.0.0.0/8"), // This network.
        Of("10.0.0.0/8"), Of("172.16.0.0/12"), Of("192.168.0.0/16"), // Private, RFC 1918.
        Of("100.64.0.0/10"), // Behind a carrier's translation, RFC 6598.
        Of("127.0.0.0/8"), Of("169.254.0.0/16"), // This machine; this link, where clouds keep their credentials.
        Of("192.0.0.0/24"), Of("192.88.99.0/24"), // Protocols; relays of 6to4, given up.
        Of("192.0.2.0/24"), Of("198.51.100.0/24"), Of("203.0.113.0/24"), // Documentation, RFC 5737.
        Of("198.18.0.0/15"), // Measuring.
        Of("224.0.0.0/4"), Of("240.0.0.0/4"), // Multicast; reserved, and broadcast.
    ];

    private static readonly IPNetwork GivenOut = Of("2000::/3");
    private static readonly IPNetwork SixToFour = Of("2002::/16");
    private static readonly IPNetwork Translated = Of("64:ff9b::/96"); // NAT64, RFC 6052.

    private static readonly IPNetwork[] SpecialV6 =
    [
        Of("2001::/23"), // Protocols, among them Teredo, which carries an IPv4 address in disguise.
        Of("2001:db8::/32"), Of("3fff::/20"), // Documentation, RFC 3849 and RFC 9637.
    ];

    public static bool IsPublic(IPAddress address)
    {
        if (address.AddressFamily == AddressFamily.InterNetwork)
        {
            return !SpecialV4.Any(network => network.Contains(address));
        }

        // Before any network is asked: some take such an address for that of IPv4, and then find it where it is not.
        if (address.IsIPv4MappedToIPv6)
        {
            return IsPublic(address.MapToIPv4());
        }

        var bytes = address.GetAddressBytes();
        return Translated.Contains(address) ? IsPublic(new IPAddress(bytes.AsSpan(12, 4)))
            : SixToFour.Contains(address) ? IsPublic(new IPAddress(bytes.AsSpan(2, 4)))
            : GivenOut.Contains(address) && !SpecialV6.Any(network => network.Contains(address));
    }

    private static IPNetwork Of(string network) => IPNetwork.Parse(network);
}
