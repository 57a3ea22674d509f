using System.Globalization;
using System.Text.Json;
using TankWatch.Core.Sites;
using TankWatch.Service.Load;
using TankWatch.Service.Tests.Ingest;
using Xunit;

namespace TankWatch.Service.Tests.Commands;

public sealed class LoadCommandTests
{
    [Theory]
    [InlineData("--rate", "-1")]
    [InlineData("--units", "0")]
    [InlineData("--seconds", "soon")]
    [InlineData("--port", "65536")]
    [InlineData("--password-file", "/no/such/file")]
    [InlineData("--secrets-file", "/no/such/file")]
    [InlineData("--messages", "0")]
    public async Task A_bad_option_is_refused_in_one_line(string option, string value) =>
        (await Shell.RunAsync("load", option, value)).RefusedInOneLine(option[2..].Split('-')[0]);

    [Theory]
    [InlineData("200")]
    [InlineData("0")]
    public async Task Every_message_is_counted_from_publish_to_acknowledgement(string rate)
    {
        await using var mosquitto = await Mosquitto.StartedAsync();
        var ran = (await Shell.RunAsync(
            "load", "--host", mosquitto.Host, "--port", mosquitto.Port.ToString(CultureInfo.InvariantCulture), "--rate", rate, "--units", "7", "--seconds", "1", "--messages", "2000")).Succeeded();
        using var report = JsonDocument.Parse(ran.Out);
        var sent = report.RootElement.GetProperty("sent").GetInt64();
        Assert.True(sent == (rate == "0" ? 2000 : 200), ran.Out);
        Assert.Equal(sent, report.RootElement.GetProperty("acknowledged").GetInt64());
        Assert.Equal(0, report.RootElement.GetProperty("errors").GetInt64());
    }

    [Fact]
    public async Task The_site_files_it_writes_have_no_fault_and_know_the_units_topics()
    {
        using var shell = new Shell();
        (await Shell.RunAsync("load", "--units", "3", "--site-files", shell.Folder)).Succeeded();
        var plans = Directory.GetFiles(shell.Folder).Order().Select(file => SiteFile.Parse(File.ReadAllBytes(file))).ToList();
        Assert.All(plans, read => Assert.Empty(read.Faults));
        Assert.Equal(["load-00001", "load-00002", "load-00003"], plans.Select(read => read.Plan!.Id.Value));
    }

    [Fact]
    public void Percentiles_are_right_within_a_thirty_second_part()
    {
        var histogram = new LatencyHistogram();
        foreach (var microseconds in Enumerable.Range(1, 100_000))
        {
            histogram.Add(TimeSpan.FromMicroseconds(microseconds));
        }

        Assert.InRange(histogram.Milliseconds(0.5), 50, 50 * 33 / 32.0);
        Assert.InRange(histogram.Milliseconds(0.99), 99, 100);
        Assert.Equal(100, histogram.Milliseconds(1));
    }
}
