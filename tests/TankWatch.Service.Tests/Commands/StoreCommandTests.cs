using TankWatch.Service.Configuration;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Commands;

/// <summary><c>site</c>, <c>unit</c> and <c>key</c>, on a store of their own.</summary>
public sealed class StoreCommandTests : IDisposable
{
    private readonly Shell shell = new();

    public void Dispose() => shell.Dispose();

    [Fact]
    public async Task A_site_file_comes_out_as_it_went_in()
    {
        var json = SampleSite.Json(name: "Erlenstraße 7 🏠");
        (await Shell.RunAsync("site", "check", shell.Write("site.json", json))).Succeeded();
        (await shell.OnStoreAsync("site", "import", shell.Write("site.json", json))).Succeeded();
        Assert.Equal(json + "\n", (await shell.OnStoreAsync("site", "export", "alder-row")).Succeeded().Out);

        var renamed = SampleSite.Json(name: "Alder Terrace");
        (await shell.OnStoreAsync("site", "import", shell.Write("site.json", renamed))).Succeeded();
        Assert.Equal(renamed + "\n", (await shell.OnStoreAsync("site", "export", "alder-row")).Succeeded().Out);
    }

    [Fact]
    public async Task A_check_foretells_what_a_good_file_should_do_and_what_cannot_work_in_it()
    {
        var ran = (await Shell.RunAsync("site", "check", shell.Write("site.json", SampleSite.Json()))).Succeeded();
        Assert.Equal("alder-row: no fault. Tanks: 2. Pumps: 1. Field units: 1.", ran.OutLines[0]);
        Assert.Equal("What this installation should do, from its site file alone:", ran.OutLines[1]);
        Assert.All(ran.OutLines[2..], line => Assert.StartsWith("  fine:  ", line, StringComparison.Ordinal));

        // 20 litres between the probes of 6 000: the file is good, and the installation is not.
        var close = SampleSite.Json().Replace("\"volumeLitres\": 3900", "\"volumeLitres\": 1520", StringComparison.Ordinal);
        var told = (await Shell.RunAsync("site", "check", shell.Write("site.json", close))).Succeeded().OutLines;
        Assert.StartsWith("  fault: Probes 1 and 2 of roof", told[2], StringComparison.Ordinal);
        Assert.Contains(told, line => line.StartsWith("  fine:  ", StringComparison.Ordinal));
        Assert.StartsWith("  Take care. The pump can start at any moment", told[^3], StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_file_that_foretells_nothing_is_good_all_the_same()
    {
        const string Bare = """{ "id": "bare", "name": "Bare", "timeZone": "Etc/UTC", "tanks": [ { "id": "pit", "role": "sump", "capacityLitres": 900, "probes": [] } ], "pumps": [], "units": [] }""";
        Assert.Single((await Shell.RunAsync("site", "check", shell.Write("bare.json", Bare))).Succeeded().OutLines);
    }

    [Fact]
    public async Task A_byte_order_mark_is_no_fault()
    {
        var file = Path.Combine(shell.Folder, "marked.json");
        await File.WriteAllTextAsync(file, SampleSite.Json(), new System.Text.UTF8Encoding(encoderShouldEmitUTF8Identifier: true), TestContext.Current.CancellationToken);
        (await shell.OnStoreAsync("site", "import", file)).Succeeded();
        Assert.Equal(SampleSite.Json() + "\n", (await shell.OnStoreAsync("site", "export", "alder-row")).Succeeded().Out);
    }

    [Theory]
    [InlineData("check")]
    [InlineData("import")]
    public async Task A_faulty_site_file_tells_every_fault_with_its_path_and_changes_nothing(string command)
    {
        var faulty = SampleSite.Json()
            .Replace("\"Europe/Lisbon\"", "\"Atlantis/Poseidonis\"", StringComparison.Ordinal)
            .Replace("\"capacityLitres\": 6000", "\"capacityLitres\": 0", StringComparison.Ordinal)
            .Replace("\"volumeLitres\": 3900", "\"volumeLitres\": 900", StringComparison.Ordinal)
            .Replace("\"to\": [ \"roof\" ]", "\"to\": [ \"attic\" ]", StringComparison.Ordinal);
        string[] args = command == "check" ? ["site", command, shell.Write("site.json", faulty)] : ["site", command, shell.Write("site.json", faulty), "--data", shell.Data];
        var ran = await Shell.RunAsync(args);
        Assert.Equal((2, ""), (ran.Exit, ran.Out));
        foreach (var path in (string[])["$.timeZone", "$.tanks[1].capacityLitres", "$.tanks[1].probes[1].volumeLitres", "$.pumps[0].to"])
        {
            Assert.Contains(ran.ErrorLines, line => line.StartsWith(path, StringComparison.Ordinal));
        }

        Assert.False(Directory.Exists(shell.Data), "a store was made");
    }

    [Theory]
    [InlineData("")]
    [InlineData("{ \"id\": ")]
    [InlineData("site: alder-row")]
    [InlineData("[]")]
    public async Task What_is_no_JSON_object_is_one_line(string text) =>
        (await Shell.RunAsync("site", "check", shell.Write("site.json", text))).RefusedInOneLine("$");

    [Fact]
    public async Task A_file_that_is_missing_a_folder_or_endless_is_one_line()
    {
        (await Shell.RunAsync("site", "check", Path.Combine(shell.Folder, "missing.json"))).RefusedInOneLine("missing.json", "does not exist");
        (await Shell.RunAsync("site", "check", shell.Folder)).RefusedInOneLine("folder");
        (await Shell.RunAsync("site", "check", shell.Write("big.json", new string(' ', 2 * 1024 * 1024)))).RefusedInOneLine();
    }

    [Fact]
    public async Task An_unknown_site_has_no_file_to_export() =>
        (await shell.OnStoreAsync("site", "export", "nowhere")).RefusedInOneLine("nowhere");

    [Fact]
    public async Task A_unit_of_another_site_is_refused_with_that_sites_name()
    {
        await ImportAsync();
        (await shell.OnStoreAsync("site", "import", shell.Write("other.json", SampleSite.Json("birch-row")))).RefusedInOneLine("fu-1", "alder-row");
        (await shell.OnStoreAsync("site", "export", "birch-row")).RefusedInOneLine("birch-row");
    }

    [Fact]
    public async Task A_units_password_is_the_last_line_and_opens_the_broker_until_it_is_revoked()
    {
        await ImportAsync();
        var secret = (await shell.OnStoreAsync("unit", "add", "fu-1", "--site", "alder-row")).Succeeded().Out.Split('\n')[^2];
        Assert.True(OnLedger(ledger => ledger.CheckUnit(new("fu-1"), secret)));
        (await shell.OnStoreAsync("unit", "add", "fu-1", "--site", "alder-row")).RefusedInOneLine("fu-1", "unit revoke");
        (await shell.OnStoreAsync("unit", "revoke", "fu-1")).Succeeded();
        Assert.False(OnLedger(ledger => ledger.CheckUnit(new("fu-1"), secret)));
        (await shell.OnStoreAsync("unit", "revoke", "fu-1")).RefusedInOneLine("fu-1");
        var next = (await shell.OnStoreAsync("unit", "add", "fu-1", "--site", "alder-row")).Succeeded().Out.Split('\n')[^2];
        Assert.NotEqual(secret, next);
    }

    [Fact]
    public async Task A_unit_needs_its_site_and_its_place_in_the_sites_file()
    {
        (await shell.OnStoreAsync("unit", "add", "fu-1", "--site", "alder-row")).RefusedInOneLine("alder-row", "site import");
        await ImportAsync();
        (await shell.OnStoreAsync("unit", "add", "fu-9", "--site", "alder-row")).RefusedInOneLine("fu-9", "alder-row");
        (await shell.OnStoreAsync("site", "import", shell.Write("birch.json", SampleSite.Json("birch-row", "fu-2")))).Succeeded();
        (await shell.OnStoreAsync("unit", "add", "fu-1", "--site", "birch-row")).RefusedInOneLine("fu-1", "alder-row");
    }

    [Fact]
    public async Task A_key_stands_alone_on_the_last_line_and_opens_what_it_was_made_for()
    {
        await ImportAsync();
        var key = (await shell.OnStoreAsync("key", "add", "ann", "--role", "caretaker", "--site", "alder-row")).Succeeded().Out.Split('\n')[^2];
        Assert.Equal(new KeyHolder("ann", "caretaker", new("alder-row")), OnLedger(ledger => ledger.FindKey(key)));
        (await shell.OnStoreAsync("key", "add", "ann", "--role", "operator")).RefusedInOneLine("ann", "key revoke");
        (await shell.OnStoreAsync("key", "add", "bob", "--role", "operator", "--site", "nowhere")).RefusedInOneLine("nowhere");
        (await shell.OnStoreAsync("key", "revoke", "ann")).Succeeded();
        Assert.Null(OnLedger(ledger => ledger.FindKey(key)));
        (await shell.OnStoreAsync("key", "revoke", "ann")).RefusedInOneLine("ann");
        (await shell.OnStoreAsync("key", "add", "ann", "--role", "operator")).Succeeded();
    }

    [Fact]
    public async Task The_store_holds_no_secret_in_the_clear()
    {
        await ImportAsync();
        var unit = (await shell.OnStoreAsync("unit", "add", "fu-1", "--site", "alder-row")).Succeeded().Out.Split('\n')[^2];
        var key = (await shell.OnStoreAsync("key", "add", "ann", "--role", "operator")).Succeeded().Out.Split('\n')[^2];
        var stored = string.Concat(Directory.EnumerateFiles(shell.Data, "*", SearchOption.AllDirectories).Select(file => System.Text.Encoding.Latin1.GetString(File.ReadAllBytes(file))));
        Assert.Contains("alder-row", stored, StringComparison.Ordinal);
        Assert.DoesNotContain(unit, stored, StringComparison.Ordinal);
        Assert.DoesNotContain(key, stored, StringComparison.Ordinal);
    }

    private async Task ImportAsync() => (await shell.OnStoreAsync("site", "import", shell.Write("site.json", SampleSite.Json()))).Succeeded();

    private T OnLedger<T>(Func<LedgerStore, T> ask)
    {
        using var database = new Database(new DataOptions { Path = shell.Data });
        return ask(new LedgerStore(database, TimeProvider.System));
    }
}
