using System.Text;
using MimeKit;
using TankWatch.Core.Alerts;
using TankWatch.Core.Notifications;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Mail;

public sealed class MailComposerTests
{
    [Fact]
    public async Task A_mail_says_what_where_since_when_the_evidence_what_to_check_and_what_can_hurt_in_both_parts()
    {
        await using var rig = Rig.New();
        var mail = rig.Composer.TryCompose(Letters.Letter(rig), [], Rig.Noon, out _)!;
        Assert.Equal("Alder Row: Pump starts too often, p1", mail.Subject);
        foreach (var part in (string[])[mail.TextBody!, mail.HtmlBody!])
        {
            foreach (var said in (string[])["Pump p1 starts too often.", "Alder Row", "Monday 2 March 2026, 16:45 (Asia/Kathmandu)", "9 starts in an hour",
                "between 8 and 10", "chattering probe 70 %", "Look at the probe.", "Switch off first.", "It protects nothing"])
            {
                Assert.Contains(said, part, StringComparison.Ordinal);
            }
        }

        Assert.Equal("auto-generated", mail.Headers["Auto-Submitted"]);
        Assert.Equal("caretaker@example.org", Assert.Single(mail.To.Mailboxes).Address);
    }

    [Fact]
    public async Task An_intention_has_one_message_id_for_ever_and_two_have_two()
    {
        await using var rig = Rig.New();
        Assert.Equal(rig.Composer.MessageIdOf("k1", "i"), rig.Composer.MessageIdOf("k1", "i"));
        Assert.NotEqual(rig.Composer.MessageIdOf("k1", "i"), rig.Composer.MessageIdOf("k2", "i"));
        Assert.NotEqual(rig.Composer.MessageIdOf("k1", "i"), rig.Composer.MessageIdOf("k1", "another installation"));
        Assert.EndsWith("@water.example", rig.Composer.MessageIdOf("k1", "i"), StringComparison.Ordinal);
    }

    /// <remarks>RFC 5322, 3.6.4.</remarks>
    [Fact]
    public async Task A_reply_names_its_parent_and_the_whole_thread_oldest_first()
    {
        await using var rig = Rig.New();
        var mail = rig.Composer.TryCompose(
            Letters.Letter(rig, "a1.3", NotifyReason.Cleared, thread: ["a1.1", "a1.2"]), ["one@x.example", "two@x.example"], Rig.Noon, out _)!;
        Assert.Equal("two@x.example", mail.InReplyTo);
        Assert.Equal(["one@x.example", "two@x.example"], mail.References);
        Assert.Equal("Re: Alder Row: Pump starts too often, p1", mail.Subject);
        Assert.DoesNotContain("What to check first", mail.TextBody, StringComparison.Ordinal);
        var first = rig.Composer.TryCompose(Letters.Letter(rig), [], Rig.Noon, out _)!;
        Assert.Null(first.InReplyTo);
        Assert.Empty(first.References);
    }

    [Theory]
    [InlineData("Alder\r\nBcc: all@example.org")]
    [InlineData("Alder\nX-Evil: 1\n\nbody")]
    [InlineData("Alder\u2028\u0000\u0007Row")]
    public async Task A_name_cannot_make_a_header(string name)
    {
        await using var rig = Rig.New();
        var mail = rig.Composer.TryCompose(Letters.Letter(rig, site: name, name: name), [], Rig.Noon, out _)!;
        var again = Reread(mail);
        Assert.Equal(mail.Headers.Select(header => header.Field), again.Headers.Select(header => header.Field));
        Assert.DoesNotContain(again.Headers, header => header.Field is "Bcc" or "X-Evil");
        Assert.Single(again.To.Mailboxes);
        Assert.DoesNotContain(again.Subject!, char.IsControl);
    }

    [Theory]
    [InlineData("a@example.org\r\nBcc: b@example.org")]
    [InlineData("a@example.org, b@example.org")]
    [InlineData("Ann <a@example.org>")]
    [InlineData("nobody")]
    [InlineData(null)]
    public async Task An_address_that_is_more_or_less_than_one_address_gets_no_mail(string? email)
    {
        await using var rig = Rig.New();
        Assert.Null(rig.Composer.TryCompose(Letters.Letter(rig, email: email), [], Rig.Noon, out var fault));
        Assert.NotNull(fault);
    }

    /// <remarks>RFC 2047: encoded words of at most 75 characters; RFC 5322: lines of at most 78, never above 998.</remarks>
    [Fact]
    public async Task Names_of_all_scripts_travel_as_encoded_words_and_come_back()
    {
        await using var rig = Rig.New();
        const string name = "Ωμέγα कोठी 🚰 Çeşme — a rather long name of a building that has to be folded";
        var mail = rig.Composer.TryCompose(Letters.Letter(rig, site: name, name: "Keld Jørn Simonsen"), [], Rig.Noon, out _)!;
        var bytes = Bytes(mail);
        Assert.DoesNotContain(bytes, b => b >= 0x80);
        Assert.All(Encoding.ASCII.GetString(bytes).Split("\r\n").TakeWhile(line => line.Length > 0), line => Assert.True(line.Length <= 78, line));
        var again = Reread(mail);
        Assert.StartsWith(name, again.Subject, StringComparison.Ordinal);
        Assert.Equal("Keld Jørn Simonsen", again.To.Mailboxes.Single().Name);
    }

    [Fact]
    public async Task Markup_in_a_name_is_text()
    {
        await using var rig = Rig.New();
        var mail = rig.Composer.TryCompose(Letters.Letter(rig, site: "<script>alert(1)</script>"), [], Rig.Noon, out _)!;
        Assert.DoesNotContain("<script>", mail.HtmlBody, StringComparison.Ordinal);
    }

    [Fact]
    public async Task What_was_withdrawn_says_so()
    {
        await using var rig = Rig.New();
        var letter = Letters.Letter(rig, "a1.2", NotifyReason.Cleared);
        var alert = letter.Notification.Alert with { Correction = AlertCorrection.Withdrawn };
        var mail = rig.Composer.TryCompose(letter with { Notification = letter.Notification with { Alert = alert } }, [], Rig.Noon, out _)!;
        Assert.StartsWith("Withdrawn:", mail.TextBody, StringComparison.Ordinal);
    }

    private static byte[] Bytes(MimeMessage mail)
    {
        mail.Prepare(EncodingConstraint.SevenBit);
        using var stream = new MemoryStream();
        var format = FormatOptions.Default.Clone();
        format.NewLineFormat = NewLineFormat.Dos;
        mail.WriteTo(format, stream);
        return stream.ToArray();
    }

    private static MimeMessage Reread(MimeMessage mail) => MimeMessage.Load(new MemoryStream(Bytes(mail)));
}
