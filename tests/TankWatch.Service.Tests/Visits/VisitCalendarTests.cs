using System.ComponentModel;
using System.Diagnostics;
using System.Globalization;
using System.Text.Json;
using CsCheck;
using TankWatch.Core.Contracts;
using TankWatch.Core.Texts;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.Sites;
using TankWatch.Service.Visits;
using Xunit;

namespace TankWatch.Service.Tests.Visits;

public sealed class VisitCalendarTests
{
    private static readonly DateTimeOffset Start = new(2026, 3, 29, 0, 30, 0, TimeSpan.Zero); // In Lisbon half an hour before the clock is set on.

    /// <summary>Reads a calendar with the icalendar package, another library, and says what it understood.</summary>
    private const string Oracle = """
        import sys, json
        from icalendar import Calendar
        c = Calendar.from_ical(sys.stdin.buffer.read())
        e = c.walk('VEVENT')[0]
        people = e.get('attendee') or []
        people = people if isinstance(people, list) else [people]
        print(json.dumps({'method': str(c['METHOD']), 'uid': str(e['UID']), 'sequence': int(e['SEQUENCE']), 'start': e['DTSTART'].dt.isoformat(), 'end': e['DTEND'].dt.isoformat(),
            'stamp': e['DTSTAMP'].dt.isoformat(), 'summary': str(e['SUMMARY']), 'location': str(e['LOCATION']), 'description': str(e['DESCRIPTION']), 'status': str(e['STATUS']),
            'organizer': str(e.get('ORGANIZER', '')), 'people': [[str(p), str(p.params['CN'])] for p in people]}))
        """;

    [Fact]
    public void An_invitation_has_what_a_calendar_needs()
    {
        var read = CalendarReader.Of(VisitCalendar.Invite(Mail(Visit()), "TankWatch <tankwatch@water.example>", Rig.Noon, Languages.English));
        Assert.Equal(("2.0", "REQUEST"), (read.Calendar("VERSION").Value, read.Calendar("METHOD").Value));
        Assert.NotEqual("", read.Calendar("PRODID").Value);
        Assert.Equal(("visit-1@tankwatch", "0", "CONFIRMED"), (read.Event("UID").Value, read.Event("SEQUENCE").Value, read.Event("STATUS").Value));
        Assert.Equal(("20260302T120000Z", "20260329T003000Z", "20260329T020000Z"), (read.Event("DTSTAMP").Value, read.Event("DTSTART").Value, read.Event("DTEND").Value));
        Assert.Empty(read.All("VTIMEZONE", "TZID")); // None is needed: the times are UTC.
        Assert.Equal(("Alder Row: visit", "Alder Row"), (read.Event("SUMMARY").Text, read.Event("LOCATION").Text));
        Assert.Equal(
            "When: Sunday 29 March 2026, 00:30 (Europe/Lisbon)\nHow long: 90 minutes\nWho goes: Di\nWhy: routine visit", read.Event("DESCRIPTION").Text);
        Assert.Equal("mailto:tankwatch@water.example", read.Event("ORGANIZER").Value);
        var people = read.All("VEVENT", "ATTENDEE");
        Assert.Equal(["mailto:di@example.org", "mailto:caretaker@example.org"], people.Select(person => person.Value));
        Assert.Equal(("Di", "FALSE", "NEEDS-ACTION"), (people[0].Parameters["CN"], people[0].Parameters["RSVP"], people[0].Parameters["PARTSTAT"]));
    }

    [Fact]
    public void A_change_is_the_same_event_with_a_higher_sequence_and_what_is_off_is_cancelled()
    {
        // RFC 5546 (CHECKS J4 [M]).
        var moved = Visit().MovedTo(Start.AddDays(1), 30);
        var read = CalendarReader.Of(VisitCalendar.Invite(Mail(moved, VisitNews.Moved), "t@water.example", Rig.Noon, Languages.English));
        Assert.Equal(("REQUEST", "visit-1@tankwatch", "1", "20260330T003000Z"), (read.Calendar("METHOD").Value, read.Event("UID").Value, read.Event("SEQUENCE").Value, read.Event("DTSTART").Value));
        read = CalendarReader.Of(VisitCalendar.Invite(Mail(moved.Cancelled(), VisitNews.Cancelled), "t@water.example", Rig.Noon, Languages.English));
        Assert.Equal(("CANCEL", "visit-1@tankwatch", "2", "CANCELLED"), (read.Calendar("METHOD").Value, read.Event("UID").Value, read.Event("SEQUENCE").Value, read.Event("STATUS").Value));
    }

    [Fact]
    public void A_file_for_everybody_names_no_addresses()
    {
        var text = VisitCalendar.Publish(Visit(), "Alder Row", VisitWords.Why(null), TimeZoneInfo.Utc, Rig.Noon, Languages.English);
        var read = CalendarReader.Of(text);
        Assert.Equal("PUBLISH", read.Calendar("METHOD").Value);
        Assert.Empty(read.All("VEVENT", "ATTENDEE")); // RFC 5546, 3.2.1 [M]: none in what is published.
        Assert.DoesNotContain("example.org", text, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("Alder; Row, \\ \"house\": 1^2")]
    [InlineData("நீர்த்தொட்டி அறை நீர்த்தொட்டி அறை நீர்த்தொட்டி அறை நீர்த்தொட்டி அறை நீர்த்தொட்டி")]
    [InlineData("👩‍🔧👩‍🔧👩‍🔧👩‍🔧👩‍🔧👩‍🔧👩‍🔧👩‍🔧👩‍🔧👩‍🔧👩‍🔧 Zürich")]
    [InlineData("a\r\nATTENDEE:mailto:evil@example.org")]
    [InlineData("خزان السطح، الطابق الأول")]
    public void Names_of_any_kind_stay_within_their_lines(string name)
    {
        var clean = name.Replace("\r\n", "  ", StringComparison.Ordinal);
        var visit = Visit(name);
        foreach (var language in Languages.All)
        {
            var read = CalendarReader.Of(VisitCalendar.Invite(Mail(visit, site: name), "t@water.example", Rig.Noon, language));
            Assert.Equal(clean, read.Event("LOCATION").Text);
            Assert.Contains(clean, read.Event("DESCRIPTION").Text, StringComparison.Ordinal);
            Assert.Equal(2, read.All("VEVENT", "ATTENDEE").Count);
        }
    }

    /// <summary>A failure prints its seed.</summary>
    [Fact]
    public void Whatever_people_write_is_folded_and_escaped() => Gen.Char[' ', '\u0fff'].Array[1, 120].Where(chars => !chars.Any(char.IsControl)).Sample(chars =>
    {
        var name = new string(chars).Trim();
        var read = CalendarReader.Of(VisitCalendar.Publish(Visit(), name, VisitWords.Why(null), TimeZoneInfo.Utc, Rig.Noon, Languages.English));
        Assert.Equal(name, read.Event("LOCATION").Text);
    }, iter: 500);

    [Theory]
    [InlineData("en", VisitNews.Planned)]
    [InlineData("ta", VisitNews.Moved)]
    [InlineData("ar", VisitNews.Cancelled)]
    public void Another_library_reads_the_same(string tag, VisitNews news)
    {
        var (visit, language) = (news switch { VisitNews.Planned => Visit("Di; \"Ö\", 水"), VisitNews.Moved => Visit().MovedTo(Start.AddDays(1), 90), _ => Visit().Cancelled() }, Languages.Of(tag));
        var text = VisitCalendar.Invite(Mail(visit, news, "Alder; Row, \\ நீர்த்தொட்டி அறை நீர்த்தொட்டி அறை நீர்த்தொட்டி"), "t@water.example", Rig.Noon, language);
        var (read, other) = (CalendarReader.Of(text), Ask(text));
        Assert.Equal(news == VisitNews.Cancelled ? "CANCEL" : "REQUEST", other.GetProperty("method").GetString());
        Assert.Equal(("visit-1@tankwatch", visit.Sequence), (other.GetProperty("uid").GetString(), other.GetProperty("sequence").GetInt32()));
        Assert.Equal((visit.StartsAt, visit.EndsAt, Rig.Noon), (At("start"), At("end"), At("stamp")));
        foreach (var name in (string[])["summary", "location", "description", "status"])
        {
            Assert.Equal(read.Event(name.ToUpperInvariant()).Text, other.GetProperty(name).GetString());
        }

        Assert.Equal(visit.Invited.Select(person => $"mailto:{person.Email}"), other.GetProperty("people").EnumerateArray().Select(person => person[0].GetString()!));
        Assert.Equal("mailto:t@water.example", other.GetProperty("organizer").GetString());

        DateTimeOffset At(string member) => DateTimeOffset.Parse(other.GetProperty(member).GetString()!, CultureInfo.InvariantCulture);
    }

    private static JsonElement Ask(string calendar)
    {
        try
        {
            using var python = Process.Start(new ProcessStartInfo("/usr/bin/python3", ["-c", Oracle]) { RedirectStandardInput = true, RedirectStandardOutput = true, RedirectStandardError = true })!;
            using (var input = python.StandardInput.BaseStream)
            {
                input.Write(System.Text.Encoding.UTF8.GetBytes(calendar));
            }

            var (said, fault) = (python.StandardOutput.ReadToEnd(), python.StandardError.ReadToEnd());
            python.WaitForExit();
            Assert.SkipWhen(fault.Contains("No module named 'icalendar'", StringComparison.Ordinal), "python3-icalendar is not installed");
            Assert.True(python.ExitCode == 0, fault);
            return JsonSerializer.Deserialize<JsonElement>(said);
        }
        catch (Win32Exception)
        {
            Assert.Skip("python3 is not installed");
            throw;
        }
    }

    private static Visit Visit(string visitor = "Di")
    {
        var going = new VisitPerson(visitor, "di@example.org", "en");
        return new("visit-1", new("alder-row"), Start, 90, going, [going, new("Caretaker", "caretaker@example.org", "ta")], null, "di", Rig.Noon);
    }

    private static VisitMail Mail(Visit visit, VisitNews news = VisitNews.Planned, string site = "Alder Row") => new(
        "key", "id@water.example", new("Di", "di@example.org", null, "visit", "en"), [], news, visit, VisitWords.Why(null), site, "Europe/Lisbon");
}
