using TankWatch.Core.Observations;
using TankWatch.Service.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Sites;

public sealed class ReorderWindowTests
{
    private static readonly DateTimeOffset Now = Rig.Noon;

    private readonly HashSet<(string Unit, long Boot, long Seq)> taken = [];
    private readonly ReorderWindow window;

    public ReorderWindowTests() => window = new((unit, boot, after, before) =>
    {
        for (var seq = after + 1; seq < before; seq++)
        {
            if (!taken.Contains((unit.Value, boot, seq)))
            {
                return false;
            }
        }

        return true;
    });

    [Fact]
    public void Messages_in_order_never_wait()
    {
        Assert.Equal([5, 6, 7], Pass(Now, 5, 6, 7));
        Assert.Equal([8], Pass(Now, 8));
        Assert.True(window.IsEmpty);
    }

    [Fact]
    public void A_message_waits_for_the_one_counted_before_it_and_both_go_in_order()
    {
        Pass(Now, 1);
        Assert.Empty(Pass(Now, 3));
        Assert.Empty(window.Due(Now.AddSeconds(1)));
        Assert.Equal([2, 3], Pass(Now.AddSeconds(1), 2));
    }

    [Fact]
    public void It_waits_two_seconds_and_what_is_missing_then_holds_up_nothing_more()
    {
        Pass(Now, 1);
        Pass(Now, 3);
        Assert.Equal([3], Seqs(window.Due(Now + ReorderWindow.Wait)));
        Assert.Equal([4], Pass(Now + ReorderWindow.Wait, 4));
        Assert.Equal([2], Pass(Now + ReorderWindow.Wait, 2)); // Late, and judged as such.
    }

    [Fact]
    public void One_units_gap_holds_up_no_other_unit_and_ends_with_its_restart()
    {
        Pass(Now, 1);
        Pass(Now, 3);
        Assert.Equal([7], Seqs(window.Pass([Message(7, "fu-2")], Now)));
        Assert.Equal([0, 3], Seqs(window.Pass([Message(0, boot: 2)], Now)));
    }

    [Fact]
    public void A_message_without_a_count_never_waits()
    {
        Pass(Now, 1);
        Pass(Now, 3);
        Assert.Equal([null], window.Pass([Message(null)], Now).Select(seen => seen.Stamp.Seq));
    }

    private IEnumerable<long?> Pass(DateTimeOffset now, params long[] seqs) => Seqs(window.Pass([.. seqs.Select(seq => Message(seq))], now));

    private static IEnumerable<long?> Seqs(IEnumerable<Observation> seen) => [.. seen.Select(s => s.Stamp.Seq)];

    private Fresh Message(long? seq, string unit = "fu-1", long boot = 1)
    {
        if (seq is { } counted)
        {
            taken.Add((unit, boot, counted));
        }

        var at = Now.AddSeconds(seq ?? 0);
        return new(new SupplyObservation(new(new(unit), at, at, at, seq is null ? null : boot, seq), true, null), Retained: false);
    }
}
