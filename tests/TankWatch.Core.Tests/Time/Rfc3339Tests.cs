using System.Globalization;
using System.Text;
using CsCheck;
using TankWatch.Core.Time;
using Xunit;

namespace TankWatch.Core.Tests.Time;

public sealed class Rfc3339Tests
{
    [Theory] // CHECKS H1 [V-2nd, epochs recomputed]: RFC 3339, 5.8.
    [InlineData("1985-04-12T23:20:50.52Z", 482196050.52)]
    [InlineData("1996-12-19T16:39:57-08:00", 851042397)]
    [InlineData("1996-12-20T00:39:57Z", 851042397)]
    [InlineData("1937-01-01T12:00:27.87+00:20", -1041337172.13)]
    [InlineData("1937-01-01T11:40:27.87Z", -1041337172.13)]
    public void The_examples_of_the_standard_are_read(string text, double seconds)
    {
        Assert.True(Rfc3339.TryParse(text, out var utc));
        Assert.Equal(seconds, (utc - DateTimeOffset.UnixEpoch).TotalSeconds, 1e-6);
        Assert.Equal(TimeSpan.Zero, utc.Offset);
    }

    [Theory] // CHECKS H1 [V-2nd]: a leap second may be taken or refused, decidedly; here it is the first moment of the next minute.
    [InlineData("1990-12-31T23:59:60Z")]
    [InlineData("1990-12-31T15:59:60-08:00")]
    public void A_leap_second_is_the_next_minutes_first(string text)
    {
        Assert.True(Rfc3339.TryParse(text, out var utc));
        Assert.Equal(new DateTimeOffset(1991, 1, 1, 0, 0, 0, TimeSpan.Zero), utc);
    }

    [Theory] // CHECKS H1 [M]: 4.3, an offset of -00:00 is unknown, the time is UTC; 5.6, t and z may be lower case.
    [InlineData("2026-03-01T05:31:07-00:00")]
    [InlineData("2026-03-01t05:31:07z")]
    [InlineData("2026-03-01T05:31:07.000000000000Z")]
    [InlineData("2026-03-01T11:01:07+05:30")]
    [InlineData("2026-03-01T05:31:07.00000009Z")] // Below 100 ns: dropped.
    public void Other_forms_of_one_moment_are_equal(string text)
    {
        Assert.True(Rfc3339.TryParse(text, out var utc));
        Assert.Equal(new DateTimeOffset(2026, 3, 1, 5, 31, 7, TimeSpan.Zero), utc);
    }

    [Theory]
    [InlineData("")]
    [InlineData("2026-03-01")]
    [InlineData("2026-03-01T05:31:07")] // No offset.
    [InlineData("2026-03-01 05:31:07Z")]
    [InlineData("2026-02-29T05:31:07Z")]
    [InlineData("2026-13-01T05:31:07Z")]
    [InlineData("2026-03-01T24:00:00Z")]
    [InlineData("2026-03-01T05:31:61Z")]
    [InlineData("2026-03-01T05:60:07Z")]
    [InlineData("2026-03-01T05:31:07.Z")]
    [InlineData("2026-03-01T05:31:07,5Z")]
    [InlineData("2026-03-01T05:31:07+25:00")]
    [InlineData("20260301T053107Z")]
    [InlineData("٢٠٢٦-03-01T05:31:07Z")]
    [InlineData("9999-12-31T23:59:60Z")] // These three are out of the range of .NET's time.
    [InlineData("9999-12-31T23:59:59-08:00")]
    [InlineData("0001-01-01T00:00:00+08:00")]
    [InlineData("yesterday, I am told")]
    public void Whatever_else_is_no_time(string text) => Assert.False(Rfc3339.TryParse(text, out _));

    [Fact]
    public void What_is_written_is_read_again_to_the_millisecond() =>
        Gen.DateTimeOffset.Sample(
            time => Rfc3339.TryParse(Rfc3339.Format(time), out var again) && Math.Abs((again - time).TotalMilliseconds) < 1 && Rfc3339.Format(again) == Rfc3339.Format(time), threads: 1);

    [Fact]
    public void No_text_makes_it_throw() =>
        Gen.Char["0123456789-+:.,TtZz \uD800ü"].Array[0, 70].Select(chars => new string(chars)).Sample(text => Rfc3339.TryParse(text, out var time) || time == default, threads: 1);

    [Fact]
    public void The_usual_form_is_read_as_any_other_and_one_character_changed_is_never_read_otherwise() =>
        Gen.Select(Gen.DateTimeOffset, Gen.Int[0, 7], Gen.Int[-14 * 60, 14 * 60], Gen.Int[0, 40], Gen.Char["0123456789-+:.TZ9"]).Sample((moment, decimals, offset, at, other) =>
        {
            var time = moment.Year is < 2 or > 9998 ? new(2026, 3, 1, 5, 31, 7, TimeSpan.Zero) : moment.ToOffset(TimeSpan.FromMinutes(offset));
            var zone = offset == 0 ? "Z" : time.ToString("zzz", CultureInfo.InvariantCulture);
            var text = time.ToString(decimals == 0 ? "yyyy-MM-dd'T'HH:mm:ss" : "yyyy-MM-dd'T'HH:mm:ss." + new string('f', decimals), CultureInfo.InvariantCulture) + zone;
            Assert.True(Rfc3339.TryParseUsual(Encoding.UTF8.GetBytes(text), out var usual) && Rfc3339.TryParse(text, out var any) && usual == any, text);
            var changed = string.Concat(text.Select((c, i) => i == at ? other : c));
            Assert.True(!Rfc3339.TryParseUsual(Encoding.UTF8.GetBytes(changed), out usual) || (Rfc3339.TryParse(changed, out any) && usual == any), changed);
        }, iter: 20_000, threads: 1);
}
