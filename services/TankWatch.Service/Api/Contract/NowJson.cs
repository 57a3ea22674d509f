using System.ComponentModel;

namespace TankWatch.Service.Api.Contract;

[Description("A site as it is known now.")]
public sealed record NowJson(
    string Site,
    [property: Description("Up to when the messages have been judged.")] DateTimeOffset AsOf,
    IReadOnlyList<TankNowJson> Tanks, IReadOnlyList<PumpNowJson> Pumps, IReadOnlyList<UnitJson> Units);

[Description("Between two volumes, litres.")]
public sealed record VolumeIntervalJson(double Low, double High);

[Description("Between two times from now, seconds.")]
public sealed record SecondsIntervalJson(double Low, double High);

[Description("A tank, from its probes alone.")]
public sealed record TankNowJson(
    string Tank, string Role,
    [property: Description("How many probes are wet, from the lowest; null when unknown or when a probe is wet above a dry one.")] int? Step,
    [property: Description("One per probe, lowest first; null when unknown.")] IReadOnlyList<bool>? Wet,
    [property: Description("What the probes allow it to hold; null when unknown.")] VolumeIntervalJson? VolumeLitres,
    [property: Description("How old the newest word of these probes is; null before the first.")] double? AgeSeconds,
    [property: Description("The word is older than what its unit promised: it says how things were.")] bool Stale,
    [property: Description("Null while it cannot be told.")] SecondsIntervalJson? TimeToEmpty);

[Description("A pump, in its unit's words.")]
public sealed record PumpNowJson(
    string Pump,
    [property: Description("Null when unknown.")] bool? Running,
    [property: Description("Since when it runs or rests.")] DateTimeOffset? Since,
    [property: Description("auto or manual; null when unknown.")] string? Mode,
    [property: Description("Why it last started or stopped; null when unknown.")] string? Cause,
    [property: Description("The word is older than what its unit promised: it says how things were.")] bool Stale,
    RunJson? LastRun);
