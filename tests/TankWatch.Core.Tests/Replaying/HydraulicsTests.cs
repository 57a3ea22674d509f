using System.Text.Json;
using Json.Schema;
using TankWatch.Core.Findings;
using Xunit;

namespace TankWatch.Core.Tests.Replaying;

/// <summary>The fourteen recorded systems against their truth: see Data/hydraulics/ORIGIN.md. [V: made with an independent solver]</summary>
public sealed class HydraulicsTests
{
    public static TheoryData<string> Systems() => [.. Recorded.Names];

    public static TheoryData<string> SystemsWithDays() => [.. Recorded.Names.Where(name => name[0] == 'o')];

    [Theory]
    [MemberData(nameof(Systems))]
    public void Every_line_is_taken(string name)
    {
        var recorded = Recorded.Of(name);
        Assert.Equal(0, recorded.Result.Refused);
        Assert.Equal(recorded.Lines.Length, recorded.Result.Messages);
    }

    [Theory]
    [MemberData(nameof(SystemsWithDays))]
    public void Starts_of_every_complete_day_equal_the_truth(string name)
    {
        var recorded = Recorded.Of(name);
        var truth = recorded.Truth.GetProperty("daily").EnumerateArray()
            .ToDictionary(d => DateOnly.ParseExact(d.GetProperty("date_local").GetString()!, "yyyy-MM-dd"), d => d.GetProperty("pump_runs").GetInt32());
        var complete = recorded.Result.Days.Where(d => d.Complete).ToList();
        Assert.InRange(complete.Count, truth.Count - 1, truth.Count);
        Assert.All(complete, day => Assert.Equal((day.Date, truth[day.Date]), (day.Date, day.Pumps.Single().Starts)));
    }

    [Theory]
    [MemberData(nameof(Systems))]
    public void Every_run_starts_and_stops_when_the_truth_says(string name)
    {
        var recorded = Recorded.Of(name);
        var truth = recorded.Truth.GetProperty("runs").EnumerateArray().ToList();
        var runs = recorded.Result.Runs;
        Assert.InRange(runs.Length, truth.Count - 1, truth.Count + 1);
        foreach (var (run, real) in runs.Zip(truth))
        {
            // The unit's own clock tells the time: within two seconds.
            Assert.Equal(0, (run.StartedAt - Recorded.Time(real.GetProperty("on_utc"))).TotalSeconds, 2.0);
            if (run.StoppedAt is { } stopped)
            {
                Assert.Equal(0, (stopped - Recorded.Time(real.GetProperty("off_utc"))).TotalSeconds, 2.0);
            }
        }
    }

    [Theory]
    [InlineData("a1_constant")]
    [InlineData("o01_healthy_small")]
    [InlineData("o02_healthy_large")]
    [InlineData("o09_guests")]
    public void A_healthy_system_raises_nothing_but_what_use_explains(string name)
    {
        var recorded = Recorded.Of(name);
        Assert.True(recorded.Result.Findings.All(f => f.Kind is FindingKind.HeavyUse or FindingKind.SlowFill), recorded.Told());
    }

    [Theory]
    [InlineData("o03a_leak_20")]
    [InlineData("o03b_leak_60")]
    [InlineData("o03c_leak_200")]
    [InlineData("o04_weak_pump")]
    [InlineData("o05_pump_decline")]
    [InlineData("o06_riser_valve")]
    [InlineData("o07_backdrain")]
    public void A_faulty_system_is_quiet_before_its_fault_begins(string name)
    {
        var recorded = Recorded.Of(name);
        var onset = Recorded.Time(recorded.Truth.GetProperty("faults")[0].GetProperty("onset_utc"));
        Assert.True(recorded.Result.Findings.All(f => f.RaisedAt >= onset || f.Kind is FindingKind.HeavyUse or FindingKind.SlowFill), recorded.Told());
    }

    [Fact]
    public void Probes_too_close_are_short_cycling_within_six_hours()
    {
        var recorded = Recorded.Of("o10_short_cycling");
        var onset = Recorded.Time(recorded.Truth.GetProperty("faults")[0].GetProperty("onset_utc"));
        var found = recorded.Findings(FindingKind.ShortCycling).First();
        Assert.InRange(found.RaisedAt, onset, onset.AddHours(6));
        Assert.Equal("probes-too-close", found.Causes[0].Name);
        Assert.Equal("p1", found.Device.Value);
        Assert.All(recorded.Result.Findings, f => Assert.True(f.Kind is FindingKind.ShortCycling or FindingKind.HeavyUse or FindingKind.SlowFill, recorded.Told()));
    }

    [Fact]
    public void A_missed_supply_is_low_supply_within_a_day_each_time()
    {
        var recorded = Recorded.Of("o08_supply_failure");
        var onsets = recorded.Truth.GetProperty("faults").EnumerateArray().Select(f => Recorded.Time(f.GetProperty("onset_utc"))).ToList();
        Assert.Equal(2, onsets.Count);
        Assert.All(onsets, onset => Assert.True(
            recorded.Findings(FindingKind.LowSupply).Any(f => f.RaisedAt >= onset && f.RaisedAt <= onset.AddHours(24)), $"none within a day of {onset:u}: {recorded.Told()}"));
    }

    [Theory]
    [MemberData(nameof(Systems))]
    public void Where_the_supply_comes_nobody_is_told_of_want(string name)
    {
        var recorded = Recorded.Of(name);
        Assert.True(name == "o08_supply_failure" || recorded.Result.Findings.All(f => f.Kind is not (FindingKind.LowSupply or FindingKind.RunningOut)), recorded.Told());
    }

    [Fact]
    public void Low_supply_is_not_raised_while_the_supply_runs()
    {
        var recorded = Recorded.Of("o08_supply_failure");
        var spans = recorded.Truth.GetProperty("faults").EnumerateArray()
            .Select(f => (From: Recorded.Time(f.GetProperty("onset_utc")), To: Recorded.Time(f.GetProperty("end_utc")).AddDays(1))).ToList();
        Assert.All(recorded.Findings(FindingKind.LowSupply), f => Assert.Contains(spans, s => s.From <= f.RaisedAt && f.RaisedAt <= s.To));
    }

    [Fact]
    public void Constant_flows_give_the_runs_of_the_closed_form()
    {
        // [D]: 800 L at 40 - 4 L/min fill in 1333.33 s and at 4 L/min last 200 min: 6.48 runs a day.
        var recorded = Recorded.Of("a1_constant");
        Assert.Equal(6.48, recorded.Result.Days.Where(d => d.Complete).Average(d => d.Pumps[0].Starts), 0.1);
        Assert.True(recorded.Result.Runs.Count(r => r.Delivery is not null) > 80);
    }

    [Theory]
    [MemberData(nameof(Systems))]
    public void The_result_and_the_site_file_fit_their_published_schemas(string name)
    {
        var recorded = Recorded.Of(name);
        Valid("replay-result.schema.json", Recorded.Json(recorded.Result));
        Valid("site.schema.json", recorded.SiteJson);
    }

    private static readonly Lazy<Dictionary<string, JsonSchema>> Schemas = new(() => Directory
        .EnumerateFiles(Path.Combine(AppContext.BaseDirectory, "Schemas"), "*.json").ToDictionary(path => Path.GetFileName(path), path => JsonSchema.FromText(File.ReadAllText(path))));

    private static void Valid(string schema, string json)
    {
        using var document = JsonDocument.Parse(json);
        var outcome = Schemas.Value[schema].Evaluate(document.RootElement, new EvaluationOptions { OutputFormat = OutputFormat.List });
        Assert.True(outcome.IsValid, string.Join("; ", (outcome.Details ?? []).Where(d => d.Errors is not null).Select(d => $"{d.InstanceLocation}: {string.Join(", ", d.Errors!.Values)}").Take(5)));
    }
}
