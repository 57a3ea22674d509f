using System.Text;
using CsCheck;
using TankWatch.Core.FieldMessages;
using TankWatch.Core.Sites;
using Xunit;

namespace TankWatch.Core.Tests.FieldMessages;

public sealed class BacklogTests
{
    private static readonly SitePlan Plan = Plans.House();
    private static readonly DateTimeOffset Received = Scenario.TimeOf("06:00");
    private const string Good = """{"boot":1,"seq":%,"tank":"roof","wet":[true,true,false]}""";

    private static Decoded[] Decode(ReadOnlyMemory<byte> json, MessageKind kind = MessageKind.Level) =>
        [.. FieldMessageDecoder.Decode(Plan, Plan.Units[0], kind, json, Received)];

    private static Decoded[] Decode(string json) => Decode(Encoding.UTF8.GetBytes(json));

    private static string Nth(int n) => Good.Replace("%", n.ToString(System.Globalization.CultureInfo.InvariantCulture), StringComparison.Ordinal);

    [Theory]
    [InlineData("7")]
    [InlineData("null")]
    [InlineData("[]")]
    [InlineData("""{"tank":"attic","wet":[true]}""")]
    [InlineData("""{"tank":"\ud800","wet":[true]}""")]
    public void One_bad_element_spoils_no_other(string bad)
    {
        var results = Decode($"[{Nth(1)},{bad},{Nth(2)}]");
        Assert.Equal([true, false, true], results.Select(r => r is Decoded.Accepted));
        Assert.Equal(bad, Encoding.UTF8.GetString(results[1].Json.Span));
    }

    [Fact]
    public void A_backlog_of_256_KiB_with_one_bad_element_keeps_the_rest_and_one_byte_more_is_too_large()
    {
        var elements = Enumerable.Range(0, 4000).Select(n => n == 1234 ? "{}" : Nth(n)).ToList();
        var json = $"[{string.Join(",", elements)}]";
        Assert.True(json.Length < FieldMessageDecoder.MaxPayloadBytes);
        var full = Encoding.UTF8.GetBytes(json + new string(' ', (256 * 1024) - json.Length));
        var results = Decode(full);
        Assert.Equal((3999, 1), (results.Count(r => r is Decoded.Accepted), results.Count(r => r is Decoded.Refused)));

        var more = Encoding.UTF8.GetBytes(json + new string(' ', (256 * 1024) - json.Length + 1));
        Assert.Equal(RefusalReason.TooLarge, Assert.IsType<Decoded.Refused>(Assert.Single(Decode(more))).Reason);
    }

    [Fact]
    public void An_empty_backlog_says_nothing() => Assert.Empty(Decode("[]"));

    [Fact]
    public void Boot_and_seq_name_a_message_whatever_it_says()
    {
        MessageIdentity Identity(string json, MessageKind kind = MessageKind.Level) => Assert.IsType<Decoded.Accepted>(Assert.Single(Decode(Encoding.UTF8.GetBytes(json), kind))).Identity;
        Assert.Equal(Identity(Nth(5)), Identity("""{"boot":1,"seq":5,"tank":"sump","wet":[false,false,false]}"""));
        Assert.Equal(Identity(Nth(5)), Identity("""{"boot":1,"seq":5,"online":true}""", MessageKind.Status)); // Over all kinds.
        Assert.NotEqual(Identity(Nth(5)), Identity(Nth(6)));
        Assert.NotEqual(Identity(Nth(5)), Identity("""{"boot":2,"seq":5,"tank":"roof","wet":[true,true,false]}"""));
    }

    [Fact]
    public void Without_them_kind_device_time_and_content_do()
    {
        MessageIdentity Identity(string json, string received = "06:00") => Assert.IsType<Decoded.Accepted>(Assert.Single(
            FieldMessageDecoder.Decode(Plan, Plan.Units[0], MessageKind.Level, Encoding.UTF8.GetBytes(json), Scenario.TimeOf(received)))).Identity;
        const string One = """{"at":"2026-03-02T05:00:00Z","tank":"roof","wet":[true,true,false]}""";
        Assert.Equal(Identity(One), Identity(One, "07:00")); // Received again later.
        Assert.NotEqual(Identity(One), Identity(One.Replace("05:00", "05:01", StringComparison.Ordinal)));
        Assert.NotEqual(Identity(One), Identity(One.Replace("roof", "sump", StringComparison.Ordinal)));
        Assert.NotEqual(Identity(One), Identity(One.Replace("false", "true", StringComparison.Ordinal)));

        // A clock stuck in 1970 says the same again when the water comes back: two messages.
        var stuck = One.Replace("2026-03-02", "1970-01-01", StringComparison.Ordinal);
        Assert.NotEqual(Identity(stuck), Identity(stuck, "07:00"));
    }

    [Fact]
    public void Broken_text_in_one_element_spoils_no_other()
    {
        byte[] broken = [.. "{\"tank\":\"r"u8, 0xFF, .. "\"}"u8];
        var results = Decode((byte[])[.. Encoding.UTF8.GetBytes($"[{Nth(1)},"), .. broken, .. Encoding.UTF8.GetBytes($",{Nth(2)}]")]);
        Assert.Equal([true, false, true], results.Select(r => r is Decoded.Accepted));
        Assert.Equal(RefusalReason.MalformedJson, Assert.IsType<Decoded.Refused>(results[1]).Reason);
        Assert.Equal(broken, results[1].Json.ToArray());
    }

    [Fact]
    public void An_identity_has_one_text()
    {
        static string Text(string json) => Assert.IsType<Decoded.Accepted>(Assert.Single(Decode(json))).Identity.ToString();
        Assert.Equal("u1/1/5", Text(Nth(5)));
        var uncounted = Text("""{"tank":"roof","wet":[true,true,false]}""");
        Assert.Matches("^u1/[0-9a-f]{32}$", uncounted);
        Assert.NotEqual(uncounted, Text("""{"tank":"sump","wet":[true,true,false]}"""));
    }

    [Fact]
    public void The_same_words_of_two_units_are_two_messages()
    {
        var at = Scenario.TimeOf("05:00");
        Assert.NotEqual(MessageIdentity.OfContent(new("a"), MessageKind.Level, "roof", at, "{}"u8), MessageIdentity.OfContent(new("b"), MessageKind.Level, "roof", at, "{}"u8));
        Assert.NotEqual(MessageIdentity.OfCount(new("a"), 1, 1), MessageIdentity.OfCount(new("b"), 1, 1));
        Assert.NotEqual(MessageIdentity.OfContent(new("a"), MessageKind.Supply, "", at, "{}"u8), MessageIdentity.OfContent(new("a"), MessageKind.Status, "", at, "{}"u8));
    }

    [Fact]
    public void No_bytes_make_it_throw() =>
        Gen.Select(Gen.Byte.Array[0, 200], Gen.Enum<MessageKind>()).Sample((bytes, kind) => Decode(bytes, kind).Length > 0 || bytes.AsSpan().StartsWith("["u8), threads: 1);

    private static readonly string[] Names =
        ["at", "boot", "seq", "tank", "wet", "pump", "state", "cause", "mode", "volts", "flowing", "mains", "online", "firmware", "odd", "\\ud800"];

    private static readonly Gen<string> Value = Gen.OneOf(
        Gen.Const("true"), Gen.Const("null"), Gen.Const("\"roof\""), Gen.Const("\"p1\""), Gen.Const("\"running\""), Gen.Const("\"level\""), Gen.Const("[true,false,true]"),
        Gen.Const("[[[]]]"), Gen.Const("{}"), Gen.Const("1e999"), Gen.Const("-0.5"), Gen.Const("\"2026-03-02T05:00:00Z\""), Gen.Const("\"\\ud800\""), Gen.Long.Select(l => $"{l}"));

    private static readonly Gen<string> Member = Gen.Select(
        Gen.Int[0, Names.Length - 1].Select(i => Names[i]), Value)
        .Select((name, value) => $"\"{name}\":{value}");

    [Fact]
    public void No_json_makes_it_throw_and_every_element_has_its_answer()
    {
        var taken = 0;
        Gen.Select(Member.Array[0, 8].Select(m => $"{{{string.Join(",", m)}}}").Array[1, 5], Gen.Enum<MessageKind>()).Sample(
            (elements, kind) =>
            {
                var results = Decode(Encoding.UTF8.GetBytes($"[{string.Join(",", elements)}]"), kind);
                taken += results.Count(r => r is Decoded.Accepted);
                return results.Length == elements.Length;
            }, iter: 3000, threads: 1);
        Assert.True(taken > 5, $"{taken} taken: nothing but refusals was tried");
    }
}
