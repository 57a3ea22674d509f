using TankWatch.Core.Texts;

namespace TankWatch.Core.Snapshots;

/// <summary>What a finding says: keys and names are written out once a snapshot, so that a phrase takes fewer bytes than its words would.</summary>
internal static class PhraseCodec
{
    // A phrase within a list within a phrase is as deep as any goes; bytes that nest without end are none of ours.
    private const int Deepest = 4;
    private const int MostParts = 1024;

    public static void Phrase(this SnapshotWriter w, Phrase phrase)
    {
        w.Text(phrase.Key);
        w.List(phrase.Arguments, static (x, argument) =>
        {
            x.Text(argument.Name);
            Value(x, argument.Value);
        });
    }

    public static Phrase Phrase(this ref SnapshotReader r) => Phrase(ref r, Deepest);

    private static void Value(SnapshotWriter w, PhraseValue value)
    {
        switch (value)
        {
            case PhraseName name:
                w.Whole(0);
                w.Text(name.Name);
                break;
            case PhraseNumber number:
                w.Whole(1);
                w.Number(number.Value);
                break;
            case PhraseMoment moment:
                w.Whole(2);
                w.Time(moment.At);
                w.Whole((long)moment.At.Offset.TotalMinutes);
                break;
            case PhraseClock clock:
                w.Whole(3);
                w.Whole(clock.Minute);
                break;
            case PhraseList list:
                w.Whole(4);
                w.Whole((int)list.Style);
                w.List(list.Items, Value);
                break;
            case Phrase phrase:
                w.Whole(5);
                w.Phrase(phrase);
                break;
            default:
                throw new ArgumentException($"no bytes stand for a {value.GetType().Name}", nameof(value));
        }
    }

    private static Phrase Phrase(ref SnapshotReader r, int depth) =>
        new(r.Text(), r.ListUpTo(MostParts, (ref SnapshotReader x) => new PhraseArgument(x.Text(), Value(ref x, depth))));

    private static PhraseValue Value(ref SnapshotReader r, int depth)
    {
        if (depth == 0)
        {
            r.Fail();
        }

        return r.Whole(0, 5) switch
        {
            1 => new PhraseNumber(r.Number()),
            2 => Moment(ref r),
            3 => new PhraseClock(r.Whole(0, (24 * 60) - 1)),
            4 => new PhraseList(r.Name<ListStyle>(), r.ListUpTo(MostParts, (ref SnapshotReader x) => Value(ref x, depth - 1))),
            5 => Phrase(ref r, depth - 1),
            _ => new PhraseName(r.Text()),
        };
    }

    private static PhraseMoment Moment(ref SnapshotReader r)
    {
        var (at, offset) = (r.Time(), TimeSpan.FromMinutes(r.Whole(-14 * 60, 14 * 60)));
        var isWithin = at.UtcTicks >= TimeSpan.TicksPerDay && at.UtcTicks <= DateTime.MaxValue.Ticks - TimeSpan.TicksPerDay;
        if (!isWithin)
        {
            r.Fail();
        }

        return new(isWithin ? at.ToOffset(offset) : at);
    }
}
