using System.Collections.Immutable;
using TankWatch.Core.Findings;

namespace TankWatch.Core.Alerts.Load;

/// <summary>More alerts at once than anybody takes in.</summary>
/// <param name="From">With the alert that made it a flood, UTC.</param>
/// <param name="To">When few enough had come for ten minutes, UTC; the end of the time asked for while it goes on.</param>
/// <param name="Count">Alerts of it, those of the ten minutes that made it one included.</param>
public sealed record Flood(DateTimeOffset From, DateTimeOffset To, int Count)
{
    public TimeSpan Length => To - From;
}

/// <summary>What one source made people hear.</summary>
/// <param name="Source">The device and kind.</param>
/// <param name="NewestAlert">The id of the last alert it made.</param>
/// <param name="Count">How often people were told.</param>
/// <param name="Share">Of all, 0 to 1.</param>
/// <param name="Chatters">Three times within a minute, at least once.</param>
public sealed record SourceLoad(AlertSource Source, string NewestAlert, int Count, double Share, bool Chatters);

/// <summary>How much people were told over a time; see <see cref="LoadTargets"/> for what it is held against.</summary>
/// <param name="From">UTC.</param>
/// <param name="To">UTC, excluded.</param>
/// <param name="Count">How often.</param>
/// <param name="BusyHours">Share of all moments that end an hour with more than 30.</param>
/// <param name="BusyTenMinutes">Share of all moments that end ten minutes with more than 10.</param>
/// <param name="MostInTenMinutes">The most in any ten minutes.</param>
/// <param name="Floods">In order of time.</param>
/// <param name="Worst">The ten sources that were heard most, the worst first.</param>
/// <param name="Sources">How many sources were heard at all.</param>
/// <param name="Chattering">How many of them chattered.</param>
/// <param name="Fleeting">How many ended within a minute and did not come again at once.</param>
/// <param name="Stale">Alerts that stood for more than 24 hours, also those told before <paramref name="From"/>; the longest first.</param>
/// <param name="MostStale">The most that were stale at one time.</param>
/// <param name="ByPriority">How often, by priority from low to critical.</param>
public sealed record AlertLoad(
    DateTimeOffset From, DateTimeOffset To, int Count, double BusyHours, double BusyTenMinutes, int MostInTenMinutes, ImmutableArray<Flood> Floods,
    ImmutableArray<SourceLoad> Worst, int Sources, int Chattering, int Fleeting, ImmutableArray<Annunciation> Stale, int MostStale, ImmutableArray<int> ByPriority)
{
    public double PerDay => Count / (To - From).TotalDays;
    public double PerHour => Count / (To - From).TotalHours;
    public double PerTenMinutes => Count / ((To - From).TotalMinutes / 10);

    public TimeSpan LongestFlood => Floods.Select(flood => flood.Length).DefaultIfEmpty().Max();

    /// <summary>Share of the time, 0 to 1.</summary>
    public double InFlood => Floods.Sum(flood => flood.Length.Ticks) / (double)(To - From).Ticks;

    /// <summary>Share of the load that the ten worst make up, 0 to 1.</summary>
    public double WorstShare => Worst.Sum(source => source.Share);

    public LoadVerdict Verdict => this switch
    {
        { Count: 0 } => LoadVerdict.Silent,
        _ when PerDay > LoadTargets.PerDay.Manageable => LoadVerdict.TooMuch,
        _ when PerDay > LoadTargets.PerDay.Acceptable => LoadVerdict.Demanding,
        _ when Math.Max(InFlood, Math.Max(BusyHours, BusyTenMinutes)) >= LoadTargets.LeastShare => LoadVerdict.Demanding,
        _ when MostInTenMinutes > LoadTargets.BusyTenMinutes => LoadVerdict.Bursts,
        _ => LoadVerdict.Quiet,
    };

    /// <summary>Share of the load with this priority, 0 to 1.</summary>
    public double ShareOf(Priority priority) => Count == 0 ? 0 : ByPriority[(int)priority] / (double)Count;
}
