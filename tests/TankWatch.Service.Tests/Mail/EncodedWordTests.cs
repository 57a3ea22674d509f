using System.Text;
using MimeKit.Utils;
using Xunit;

namespace TankWatch.Service.Tests.Mail;

/// <summary>The library that writes our headers against the examples of the standard.</summary>
public sealed class EncodedWordTests
{
    /// <remarks>RFC 2047, 8 [M; CHECKS J3, where another library decoded them].</remarks>
    [Theory]
    [InlineData("=?ISO-8859-1?Q?Keld_J=F8rn_Simonsen?=", "Keld Jørn Simonsen")]
    [InlineData("(=?ISO-8859-1?Q?a?= =?ISO-8859-1?Q?b?=)", "(ab)")]
    [InlineData("=?ISO-8859-1?Q?a_b?=", "a b")]
    [InlineData("=?ISO-8859-1?Q?a?= =?ISO-8859-2?Q?_b?=", "a b")]
    [InlineData(
        "=?ISO-8859-1?B?SWYgeW91IGNhbiByZWFkIHRoaXMgeW8=?=\r\n =?ISO-8859-2?B?dSB1bmRlcnN0YW5kIHRoZSBleGFtcGxlLg==?=", "If you can read this you understand the example.")]
    public void The_examples_of_the_standard_read_as_it_says(string encoded, string plain)
    {
        Assert.Equal(plain, Rfc2047.DecodeText(Encoding.ASCII.GetBytes(encoded)));
        Assert.Equal(plain, Rfc2047.DecodeText(Rfc2047.EncodeText(Encoding.UTF8, plain)));
    }
}
