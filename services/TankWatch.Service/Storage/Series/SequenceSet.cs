namespace TankWatch.Service.Storage.Series;

/// <summary>Which sequence numbers of one restart of a unit have been taken, as intervals: a unit that loses nothing needs one.</summary>
internal sealed class SequenceSet
{
    private readonly List<(long First, long Last)> runs = [];

    public long Count { get; private set; }

    /// <summary>Between the first number taken and the last.</summary>
    public long Missing => runs.Count == 0 ? 0 : runs[^1].Last - runs[0].First + 1 - Count;

    /// <returns>False when it was there.</returns>
    public bool Add(long number)
    {
        var at = After(number);
        if (at > 0 && runs[at - 1].Last >= number)
        {
            return false;
        }

        var (joinsBefore, joinsAfter) = (at > 0 && runs[at - 1].Last == number - 1, at < runs.Count && runs[at].First == number + 1);
        switch (joinsBefore, joinsAfter)
        {
            case (true, true):
                runs[at - 1] = (runs[at - 1].First, runs[at].Last);
                runs.RemoveAt(at);
                break;
            case (true, false):
                runs[at - 1] = (runs[at - 1].First, number);
                break;
            case (false, true):
                runs[at] = (number, runs[at].Last);
                break;
            default:
                runs.Insert(at, (number, number));
                break;
        }

        Count++;
        return true;
    }

    public bool Contains(long number) => After(number) is var at && at > 0 && runs[at - 1].Last >= number;

    /// <summary>Everything between the two numbers is there, they themselves left out.</summary>
    public bool IsWholeBetween(long after, long before) => before - after <= 1 || (After(after + 1) is var at && at > 0 && runs[at - 1].Last >= before - 1);

    public void Write(PackedWriter into)
    {
        into.Number((ulong)runs.Count);
        var end = 0L;
        foreach (var (first, last) in runs)
        {
            into.Number((ulong)(first - end));
            into.Number((ulong)(last - first));
            end = last;
        }
    }

    public static SequenceSet Read(ref PackedReader from)
    {
        var set = new SequenceSet();
        var end = 0L;
        for (var left = from.Count(); left > 0; left--)
        {
            var first = end + (long)from.Number();
            end = first + (long)from.Number();
            set.runs.Add((first, end));
            set.Count += end - first + 1;
        }

        return set;
    }

    /// <returns>The index of the first run that begins after <paramref name="number"/>.</returns>
    private int After(long number)
    {
        if (runs.Count == 0 || runs[^1].First <= number)
        {
            return runs.Count; // Nearly always.
        }

        var (low, high) = (0, runs.Count - 1);
        while (low < high)
        {
            var middle = (low + high) / 2;
            (low, high) = runs[middle].First > number ? (low, middle) : (middle + 1, high);
        }

        return low;
    }
}
