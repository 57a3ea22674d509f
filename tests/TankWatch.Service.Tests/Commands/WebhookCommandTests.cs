using TankWatch.Service.Configuration;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Commands;

/// <summary><c>webhook</c>, on a store of its own.</summary>
public sealed class WebhookCommandTests : IDisposable
{
    private readonly Shell shell = new();

    public void Dispose() => shell.Dispose();

    [Fact]
    public async Task A_webhook_is_added_with_its_secret_alone_on_the_last_line_listed_and_removed()
    {
        (await shell.OnStoreAsync("site", "import", shell.Write("site.json", SampleSite.Json()))).Succeeded();
        (await shell.OnStoreAsync("webhook", "add", "https://a.example.org/")).Succeeded();
        var added = (await shell.OnStoreAsync("webhook", "add", "https://b.example.org/", "--site", "alder-row")).Succeeded().OutLines;
        Assert.Matches("^whsec_[A-Za-z0-9+/]{43}=$", added[^1]);
        var id = added[0].Split(':')[0];
        using (var database = new Database(new DataOptions { Path = shell.Data }))
        {
            Assert.Equal(added[^1], new LedgerStore(database, TimeProvider.System).FindWebhook(id)!.Secret);
        }

        var listed = (await shell.OnStoreAsync("webhook", "list")).Succeeded().OutLines;
        Assert.Equal($"{id} alder-row https://b.example.org/ well", listed[0]);
        Assert.Matches("^wh_[0-9a-f]{16} \\* https://a\\.example\\.org/ well$", listed[1]);
        (await shell.OnStoreAsync("webhook", "remove", id)).Succeeded();
        Assert.Single((await shell.OnStoreAsync("webhook", "list")).Succeeded().OutLines);
        (await shell.OnStoreAsync("webhook", "remove", id)).RefusedInOneLine(id);
    }

    [Fact]
    public async Task What_cannot_be_a_target_is_refused_in_one_line()
    {
        (await shell.OnStoreAsync("webhook", "add", "https://a.example.org/", "--site", "nowhere")).RefusedInOneLine("nowhere");
        (await shell.OnStoreAsync("webhook", "add", "https://10.0.0.1/")).RefusedInOneLine("public");
        (await shell.OnStoreAsync("webhook", "add", "http://a.example.org/")).RefusedInOneLine("https://");
    }

    [Fact]
    public async Task A_new_store_can_be_read_by_its_owner_alone()
    {
        Assert.SkipWhen(OperatingSystem.IsWindows(), "files have no such mode there");
        (await shell.OnStoreAsync("webhook", "add", "https://a.example.org/")).Succeeded();
        if (!OperatingSystem.IsWindows())
        {
            Assert.Equal(UnixFileMode.UserRead | UnixFileMode.UserWrite, File.GetUnixFileMode(Path.Combine(shell.Data, Database.FileName)));
        }
    }
}
