using Microsoft.AspNetCore.Http;
using TankWatch.Browser.Tests.Browsing;

namespace TankWatch.Browser.Tests.Services;

/// <summary>Every page that a demonstration has, by a short name, and where it is.</summary>
internal static class KnownPages
{
    private const string Missing = "missing";
    private const string Reference = "reference";

    public static IReadOnlyList<string> Names { get; } =
        ["buildings", "buildings-wrong", "buildings-none", "building", "building-month", "alert", "load", "visits", "units", "unit", "notifications", "mails", Reference, Missing];

    /// <summary>A look at that page, which may answer and complain as it does by nature.</summary>
    public static Look For(this Look look, string name) => name switch
    {
        Missing => look with { Status = StatusCodes.Status404NotFound },

        // The library tries whether it may make code from text; the policy stops it, as it should, and it goes on without.
        Reference => look with { Expected = complaint => complaint.Contains("/reference/library/", StringComparison.Ordinal) && complaint.Contains("script-src", StringComparison.Ordinal) },
        _ => look,
    };

    /// <summary>From the root on.</summary>
    public static async Task<string> AddressAsync(this RunningService demo, string name) => name switch
    {
        "buildings" => "/",
        "buildings-wrong" => "/?wrong=any",
        "buildings-none" => "/?q=no-such-building",
        "building" => "/sites/brindle-hall", // A power cut began and ended within the first two minutes.
        "building-month" => "/sites/finch-mews?view=month", // Its probes have been too close for all of its month.
        "strip" => "/sites/brindle-hall#days",
        "alert" => $"/alerts/{(await demo.AlertsAsync("state=open&site=finch-mews"))[0].GetProperty("id").GetString()}",
        "load" => "/load",
        "visits" => "/sites/finch-mews/visits",
        "units" => "/units",
        "unit" => "/units/qh-02a",
        "notifications" => "/notifications",
        "mails" => "/mails",
        Reference => "/reference",
        Missing => "/no-such-page",
        _ => throw new ArgumentOutOfRangeException(nameof(name), name, null),
    };
}
