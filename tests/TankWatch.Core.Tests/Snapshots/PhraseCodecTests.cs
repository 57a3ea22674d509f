using System.Text;
using TankWatch.Core.Snapshots;
using TankWatch.Core.Tests.Findings;
using TankWatch.Core.Texts;
using Xunit;

namespace TankWatch.Core.Tests.Snapshots;

public sealed class PhraseCodecTests
{
    private static byte[] Bytes(params IEnumerable<Phrase> phrases)
    {
        var writer = new SnapshotWriter(Plans.House());
        foreach (var phrase in phrases)
        {
            writer.Phrase(phrase);
        }

        return writer.Written.ToArray();
    }

    [Fact]
    public void A_phrase_with_values_of_every_kind_comes_back_equal_and_with_its_clock()
    {
        var at = PhraseMoment.In(TimeZoneInfo.FindSystemTimeZoneById("Asia/Kathmandu"), Scenario.Midnight);
        var phrase = Phrase.Of(
            "a", ("n", -61.3), ("name", "roof"), ("at", at), ("by", new TimeOnly(23, 59)), ("nested", Phrase.Of("b", ("n", 1))), ("words", Phrase.Literal("as said")),
            ("list", PhraseList.Of(ListStyle.Sentences, [Phrase.Of("b"), "x", at])));
        var reader = new SnapshotReader(Bytes(phrase), Plans.House());
        var again = reader.Phrase();
        Assert.True(reader.IsWhole);
        Assert.Equal(phrase, again);
        Assert.Equal(at.At.Offset, ((PhraseMoment)again.Arguments[2].Value).At.Offset);
    }

    [Fact]
    public void Bytes_that_nest_without_end_are_refused()
    {
        var phrase = Phrase.Of("a");
        for (var i = 0; i < 20; i++)
        {
            phrase = Phrase.Of("a", ("b", phrase));
        }

        var reader = new SnapshotReader(Bytes(phrase), Plans.House());
        _ = reader.Phrase();
        Assert.False(reader.IsWhole);
    }

    [Fact]
    public void Findings_take_less_room_than_their_words_would()
    {
        var findings = FindingTextTests.Days().SelectMany(day => day.Findings).ToList();
        var phrases = findings.Sum(finding => Bytes([finding.Text.Summary, .. finding.Text.Evidence, .. finding.Text.Advice, .. finding.Text.Cautions]).Length);
        var words = findings.Select(finding => finding.Said()).Sum(said => said.Evidence.Concat(said.Advice).Concat(said.Cautions).Append(said.Summary).Sum(Encoding.UTF8.GetByteCount));
        Assert.True(phrases < words / 2, $"{phrases} bytes of phrases, {words} of words, {findings.Count} findings");
    }
}
