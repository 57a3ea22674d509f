using Xunit;

namespace TankWatch.Service.Tests.Commands;

public sealed class UsageTests
{
    public static TheoryData<string> Commands => new(
        "", "demo", "serve", "replay", "site", "site check", "site import", "site export", "unit", "unit add", "unit revoke", "key", "key add", "key revoke",
        "webhook", "webhook add", "webhook list", "webhook remove",
        "config", "config check");

    [Theory]
    [MemberData(nameof(Commands))]
    public async Task Help_is_everywhere(string command)
    {
        foreach (var flag in (string[])["--help", "-h"])
        {
            var ran = (await Shell.RunAsync([.. command.Split(' ', StringSplitOptions.RemoveEmptyEntries), flag])).Succeeded();
            Assert.Contains("Usage:", ran.Out, StringComparison.Ordinal);
            Assert.Contains(command.Split(' ')[^1], ran.Out, StringComparison.Ordinal);
        }
    }

    [Theory]
    [InlineData("dmeo", "'dmeo'")]
    [InlineData("site chekc x.json", "'chekc'")]
    [InlineData("site check x.json --verbose", "'--verbose'")]
    [InlineData("site check x.json y.json", "'y.json'")]
    [InlineData("demo --prot 8080", "'--prot'")]
    [InlineData("demo --port", "--port")]
    [InlineData("demo --port 70000", "--port")]
    [InlineData("demo --port -1", "--port")]
    [InlineData("demo --port http", "--port")]
    [InlineData("demo --mqtt-port 0", "--mqtt-port")]
    [InlineData("demo --mqtt-port 65536", "--mqtt-port")]
    [InlineData("demo --speed", "--speed")]
    [InlineData("demo --speed 0", "--speed")]
    [InlineData("demo --speed 0.9", "--speed")]
    [InlineData("demo --speed 601", "--speed")]
    [InlineData("demo --speed -1", "--speed")]
    [InlineData("demo --speed 1e2", "--speed")]
    [InlineData("demo --speed 2,5", "--speed")]
    [InlineData("demo --speed fast", "--speed")]
    [InlineData("demo --speed NaN", "--speed")]
    [InlineData("demo --speed 2 --speed 3", "--speed")]
    [InlineData("serve --Mqtt:ListenPort 70000", "Mqtt:ListenPort")]
    [InlineData("serve --Mqtt:ListenPort", "--Mqtt:ListenPort")]
    [InlineData("serve --Mqtt:Hots x", "Mqtt:Hots")]
    [InlineData("serve --Mqtt:Host=a --mqtt:host=b", "twice")]
    [InlineData("config check --Mqtt:Port=0", "Mqtt:Port")]
    [InlineData("replay", "--site")]
    [InlineData("replay --site a.json", "--recording")]
    [InlineData("unit add fu-1", "--site")]
    [InlineData("unit add fu/1 --site a", "A-Z")]
    [InlineData("key add k", "--role")]
    [InlineData("key add k --role boss", "boss")]
    [InlineData("key add a/b --role operator", "A-Z")]
    [InlineData("key revoke", "revoke")]
    [InlineData("webhook add", "add")]
    public async Task A_wrong_command_line_is_one_line_that_names_the_fault(string line, string names) =>
        (await Shell.RunAsync(line.Split(' '))).RefusedInOneLine(names);

    [Theory]
    [InlineData("")]
    [InlineData("site")]
    [InlineData("unit")]
    [InlineData("key")]
    [InlineData("config")]
    public async Task A_command_that_is_not_finished_is_one_line_too(string line) =>
        (await Shell.RunAsync(line.Split(' ', StringSplitOptions.RemoveEmptyEntries))).RefusedInOneLine("--help");

    [Fact]
    public async Task A_hostile_word_cannot_break_the_line_or_colour_it()
    {
        var ran = await Shell.RunAsync("site\u001b[31m\r\nok: all is well");
        ran.RefusedInOneLine("site");
        Assert.DoesNotContain(ran.Error.TrimEnd('\n'), char.IsControl);
    }

    [Fact]
    public async Task A_store_that_cannot_be_used_is_failed_work_in_one_line()
    {
        using var shell = new Shell();
        var ran = await Shell.RunAsync("site", "export", "alder-row", "--data", shell.Write("a-file", "not a folder"));
        Assert.Equal((1, ""), (ran.Exit, ran.Out));
        Assert.Single(ran.ErrorLines);
    }

    [Fact]
    public async Task A_demonstration_leaves_a_folder_alone_that_it_did_not_make()
    {
        using var shell = new Shell();
        var kept = shell.Write("precious.txt", "mine");
        (await Shell.RunAsync("demo", "--data", shell.Folder)).RefusedInOneLine(shell.Folder);
        Assert.Equal("mine", await File.ReadAllTextAsync(kept, TestContext.Current.CancellationToken));
    }
}
