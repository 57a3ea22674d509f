using TankWatch.Core;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Storage;

public sealed class LedgerStoreTests
{
    private static readonly SiteId Alder = new("alder-row");
    private static readonly UnitId Unit = new("fu-1");

    [Fact]
    public async Task A_site_comes_back_byte_for_byte_and_may_be_replaced()
    {
        await using var rig = Rig.New();
        Assert.Null(rig.Put(SampleSite.Json()));
        Assert.Equal(SampleSite.Json(), rig.Ledger.FindSite(Alder)!.Json);
        Assert.Null(rig.Put(SampleSite.Json(name: "Alder Row West")));
        Assert.Equal(Alder, Assert.Single(rig.Ledger.ReadSiteVersions()).Key);
        Assert.Equal("Alder Row West", rig.Ledger.FindSite(Alder)!.Plan!.Name);
    }

    [Fact]
    public async Task A_unit_belongs_to_one_site()
    {
        await using var rig = Rig.New();
        Assert.Null(rig.Put(SampleSite.Json()));
        var fault = rig.Put(SampleSite.Json(id: "birch-row"));
        Assert.StartsWith("unit fu-1 belongs to site alder-row", fault, StringComparison.Ordinal);
        Assert.Null(rig.Ledger.FindSite(new("birch-row")));
    }

    [Fact]
    public async Task A_units_secret_opens_until_it_is_revoked_and_only_its_hash_is_stored()
    {
        await using var rig = Rig.New();
        rig.Put(SampleSite.Json());
        var secret = rig.Ledger.AddUnit(Unit, Alder).Secret!;
        Assert.True(rig.Ledger.CheckUnit(Unit, secret));
        Assert.False(rig.Ledger.CheckUnit(Unit, secret + "x"));
        Assert.False(rig.Ledger.CheckUnit(new("fu-2"), secret));
        Assert.Contains("revoke them first", rig.Ledger.AddUnit(Unit, Alder).Fault, StringComparison.Ordinal);
        var stored = rig.Database.Read(c => (byte[])c.Scalar("SELECT secret FROM units")!);
        Assert.Equal(LedgerStore.HashOf(secret), stored);
        Assert.True(rig.Ledger.RevokeUnit(Unit));
        Assert.False(rig.Ledger.CheckUnit(Unit, secret));
        Assert.False(rig.Ledger.RevokeUnit(Unit));
    }

    [Fact]
    public async Task A_site_put_again_keeps_the_secrets_of_its_units_and_drops_those_it_no_longer_names()
    {
        await using var rig = Rig.New();
        rig.Put(SampleSite.Json());
        var secret = rig.Ledger.AddUnit(Unit, Alder).Secret!;
        rig.Put(SampleSite.Json(name: "Renamed"));
        Assert.True(rig.Ledger.CheckUnit(Unit, secret));
        rig.Put(SampleSite.Json(unit: "fu-2"));
        Assert.False(rig.Ledger.CheckUnit(Unit, secret));
    }

    [Theory]
    [InlineData("fu-1", "elsewhere", "there is no site elsewhere")]
    [InlineData("fu-9", "alder-row", "names no unit fu-9")]
    public async Task Credentials_are_made_only_for_a_unit_that_the_sites_file_names(string unit, string site, string fault)
    {
        await using var rig = Rig.New();
        rig.Put(SampleSite.Json());
        var issued = rig.Ledger.AddUnit(new(unit), new(site));
        Assert.Null(issued.Secret);
        Assert.Contains(fault, issued.Fault, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_key_is_found_until_it_is_revoked_and_its_name_may_then_be_used_again()
    {
        await using var rig = Rig.New();
        rig.Put(SampleSite.Json());
        var key = rig.Ledger.AddKey("office", "caretaker", Alder).Secret!;
        Assert.Equal(new KeyHolder("office", "caretaker", Alder), rig.Ledger.FindKey(key));
        Assert.Null(rig.Ledger.FindKey(key[..^1]));
        Assert.NotNull(rig.Ledger.AddKey("office", "operator", null).Fault);
        Assert.True(rig.Ledger.RevokeKey("office"));
        Assert.Null(rig.Ledger.FindKey(key));
        var next = rig.Ledger.AddKey("office", "operator", null).Secret!;
        Assert.Null(rig.Ledger.FindKey(key));
        Assert.Equal("operator", rig.Ledger.FindKey(next)!.Role);
    }

    [Theory]
    [InlineData("two words", "operator", null)]
    [InlineData("office", "owner", null)]
    [InlineData("office", "operator", "elsewhere")]
    public async Task A_key_with_a_fault_is_not_made(string name, string role, string? site)
    {
        await using var rig = Rig.New();
        var issued = rig.Ledger.AddKey(name, role, site is null ? null : new SiteId(site));
        Assert.Null(issued.Secret);
        Assert.DoesNotContain('\n', issued.Fault!);
    }

    [Fact]
    public async Task Deleting_a_site_deletes_everything_kept_of_it()
    {
        await using var rig = await Rig.RunningAsync();
        await rig.FailPowerAsync();
        await rig.SendAsync("level", "nonsense");
        await rig.FoldAsync();
        await rig.SendAsync("supply", SampleSite.Supply(rig.Time.GetUtcNow(), mains: true, seq: 2));
        Assert.NotEmpty(rig.Ledger.ListOutbox(null, 10));
        Assert.True(rig.Ledger.DeleteSite(Alder));
        string[] tables =
            ["streams", "blocks", "unit_counts", "unit_boots", "site_marks", "snapshots", "refused", "alerts", "alert_events", "alert_log", "outbox", "units", "runs", "days"];
        Assert.All(tables, table => Assert.Equal(0L, Count(table)));

        await rig.SettleAsync();
        Assert.Empty(rig.Directory.Sites);
        Assert.Equal(1L, Count("journal"));
        await rig.FoldAsync();
        Assert.Equal(0L, Count("journal")); // It holds all sites' messages, and what nobody owns goes with the next fold.
        Assert.False(rig.Ledger.DeleteSite(Alder));

        long Count(string table) => (long)rig.Database.Read(c => c.Scalar($"SELECT count(*) FROM {table}"))!;
    }
}
