using System.Collections.Immutable;
using System.Globalization;
using TankWatch.Core.Sites;
using TankWatch.Service.Pages.Strips;
using TankWatch.Service.Storage;
using Xunit;

namespace TankWatch.Service.Tests.Pages;

public sealed class StripTests
{
    private static readonly DateTimeOffset Start = new(2026, 3, 10, 0, 0, 0, TimeSpan.Zero);

    private static readonly Tank Roof = new(
        new("roof"), TankRole.Overhead, new(6000), [new("low", new(1500)), new("mid", new(3900)), new("high", new(5800))], new(0));

    private static readonly StripWindow Day = new(Start, Start.AddDays(1));

    [Fact]
    public void A_word_holds_for_75_minutes_and_words_that_follow_join()
    {
        Assert.Equal(
            [new(At("01:00"), At("03:15")), new(At("05:00"), At("06:15"))],
            StripFold.Known([At("01:00"), At("02:00"), At("05:00")], At("23:00")));
    }

    [Fact]
    public void Nothing_is_known_beyond_the_present()
    {
        Assert.Equal([new(At("01:00"), At("01:20"))], StripFold.Known([At("01:00"), At("01:30")], At("01:20")));
    }

    [Fact]
    public void Gaps_are_what_no_word_covers_up_to_the_present()
    {
        var gaps = StripFold.Gaps([new(At("02:00"), At("05:00")), new(At("09:00"), At("10:00"))], Day, At("12:00"));

        Assert.Equal([new(At("00:00"), At("02:00")), new(At("05:00"), At("09:00")), new(At("10:00"), At("12:00"))], gaps);
    }

    [Fact]
    public void Without_any_word_all_is_a_gap() => Assert.Equal([new(Start, At("12:00"))], StripFold.Gaps([], Day, At("12:00")));

    [Fact]
    public void Water_lies_between_its_probes_and_equal_words_join()
    {
        var water = StripFold.Water(
            Roof, [Level("00:00", 0b011), Level("01:00", 0b011), Level("02:00", 0b001), Level("03:00", 0b000), Level("04:00", 0b111)], Whole, Day);

        Assert.Equal(
            [
                new(At("00:00"), At("02:00"), 3900, 5800), new(At("02:00"), At("03:00"), 1500, 3900),
                new(At("03:00"), At("04:00"), 0, 1500), new(At("04:00"), Day.To, 5800, 6000),
            ],
            water);
    }

    [Fact]
    public void An_impossible_order_takes_in_both_readings()
    {
        Assert.Equal([new(At("00:00"), Day.To, 1500, 6000)], StripFold.Water(Roof, [Level("00:00", 0b101)], Whole, Day));
    }

    [Fact]
    public void Water_is_not_drawn_through_a_silence()
    {
        var water = StripFold.Water(Roof, [Level("00:00", 0b001)], [new(At("00:00"), At("02:00")), new(At("06:00"), At("07:00"))], Day);

        Assert.Equal([new(At("00:00"), At("02:00"), 1500, 3900), new(At("06:00"), At("07:00"), 1500, 3900)], water);
    }

    [Fact]
    public void A_word_from_before_the_window_still_holds_in_it()
    {
        var water = StripFold.Water(Roof, [new StoredLevel(Start.AddHours(-1), 0, 0b001)], [new(Start.AddHours(-1), At("00:15"))], Day);

        Assert.Equal([new(Start, At("00:15"), 1500, 3900)], water);
    }

    [Fact]
    public void A_chattering_probe_is_drawn_as_what_was_possible_and_stays_small()
    {
        var levels = Enumerable.Range(0, 8640).Select(i => new StoredLevel(Start.AddSeconds(i * 10), 0, i % 2 == 0 ? 0b001 : 0b011)).ToList();

        var water = StripFold.Water(Roof, levels, Whole, Day);

        Assert.Equal([new(Day.From, Day.To, 1500, 5800)], water);
    }

    [Fact]
    public void Runs_that_cannot_be_told_apart_are_one_mark_that_counts_them()
    {
        var runs = Enumerable.Range(0, 30).Select(i => new RunMark(At("06:00").AddSeconds(i * 40), At("06:00").AddSeconds((i * 40) + 20), 1, i == 3, false, TimeSpan.FromSeconds(20), null));

        var mark = Assert.Single(StripFold.Joined(runs, Day));
        Assert.Equal((30, true, At("06:00"), At("06:19:40")), (mark.Runs, mark.Manual, mark.From, mark.To));
        Assert.Equal(TimeSpan.FromMinutes(10), mark.Lasted);
    }

    [Fact]
    public void Brackets_that_overlap_stand_in_rows_of_their_own_and_free_rows_are_used_again()
    {
        AlertMark Mark(string from, string to) => new("a", At(from), At(to), false, false, 0, TankWatch.Core.Texts.Phrase.Literal(""));

        Assert.Equal([0, 1, 0, 1], StripFold.InRows([Mark("01:00", "03:00"), Mark("02:00", "04:00"), Mark("03:00", "09:00"), Mark("05:00", "06:00")]).Select(mark => mark.Row));
    }

    [Theory]
    [InlineData(false, "25%", "50%")]
    [InlineData(true, "25%", "50%")]
    [InlineData(false, "0%", "25%", "00:00", "06:00")]
    [InlineData(true, "75%", "25%", "00:00", "06:00")]
    public void A_place_is_a_share_of_the_width_and_time_runs_with_the_reading(bool mirrored, string x, string width, string from = "06:00", string to = "18:00")
    {
        Assert.Equal((x, width), new StripScale(Day, TimeZoneInfo.Utc, mirrored).Span(At(from), At(to)));
    }

    // Summer time began in Lisbon on 29 March 2026 at 01:00 UTC and ends on 25 October 2026 at 01:00 UTC (IANA time zone database, rule EU).
    [Theory]
    [InlineData("2026-03-29", 23)]
    [InlineData("2026-10-25", 25)]
    public void The_axis_names_local_hours_through_a_change_of_the_clock(string date, int hours)
    {
        var zone = TimeZoneInfo.FindSystemTimeZoneById("Europe/Lisbon");
        var day = DateOnly.Parse(date, CultureInfo.InvariantCulture);
        var window = new StripWindow(TankWatch.Core.Time.LocalDays.StartOf(day, zone), TankWatch.Core.Time.LocalDays.StartOf(day.AddDays(1), zone));

        var ticks = new StripScale(window, zone, false).Ticks(window).ToList();

        Assert.Equal(hours, window.Length.TotalHours);
        Assert.Equal(["03", "06", "09", "12", "15", "18", "21"], ticks.Select(tick => tick.Label));
        Assert.All(ticks, tick => Assert.Equal(tick.Label, TimeZoneInfo.ConvertTime(tick.At, zone).ToString("HH", CultureInfo.InvariantCulture)));
    }

    [Theory]
    [InlineData(0.2)]
    [InlineData(5)]
    [InlineData(24)]
    [InlineData(24 * 7)]
    [InlineData(24 * 31)]
    [InlineData(24 * 62)]
    public void The_axis_has_neither_too_few_nor_too_many_marks(double hours)
    {
        var window = new StripWindow(At("10:05"), At("10:05").AddHours(hours));

        Assert.InRange(new StripScale(window, TimeZoneInfo.FindSystemTimeZoneById("Asia/Kathmandu"), false).Ticks(window).Count(), hours < 1 ? 0 : 4, 10);
    }

    [Fact]
    public void Closer_and_wider_stop_at_their_limits()
    {
        Assert.Equal(StripWindow.Shortest, new StripWindow(Start, Start.AddMinutes(12)).Scaled(0.5).Length);
        Assert.Equal(StripWindow.Longest, new StripWindow(Start, Start.AddDays(40)).Scaled(2).Length);
    }

    [Fact]
    public void Supply_past_midnight_is_one_stretch_and_begins_the_day_before()
    {
        var plan = SiteFile.Parse("""
            {"id":"a","name":"A","timeZone":"Asia/Kathmandu","supplyHours":["23:00-01:30"],
             "tanks":[{"id":"roof","role":"overhead","capacityLitres":1000,"probes":[{"name":"p","volumeLitres":500}]}],"pumps":[],"units":[{"id":"u","reports":["roof"]}]}
            """u8.ToArray()).Plan!;

        // Nepal is 5 h 45 min ahead of UTC (IANA time zone database).
        Assert.Equal([new(At("17:15"), At("19:45"))], StripFold.Supply(plan, Day));
        Assert.Equal([new(At("17:15"), At("19:45"))], StripFold.Supply(plan, new(At("19:00"), At("19:30"))));
    }

    private static ImmutableArray<Stretch> Whole => [new(Day.From, Day.To)];

    private static DateTimeOffset At(string clock) => Start + TimeSpan.Parse(clock, CultureInfo.InvariantCulture);

    private static StoredLevel Level(string clock, int wet) => new(At(clock), 0, wet);
}
