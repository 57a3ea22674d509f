using System.Collections.Immutable;
using TankWatch.Core.Texts;

namespace TankWatch.Core.Commissioning;

/// <summary>What is predicted of an installation. The names are published: add, never rename.</summary>
public enum PredictionKind
{
    FillTime, Delivery, Starts, DryRunWait, Energy, RestartBand, ProbeSpacing, NightLeak, Storage, TimeWithoutPump, SumpStorage,
}

/// <summary>What an installer should make of it.</summary>
public enum Outlook
{
    Fine,

    /// <summary>It may do harm, depending on what the site file does not say.</summary>
    Look,

    /// <summary>It will do harm, or the site file contradicts itself.</summary>
    Fault,
}

/// <summary>What to expect: the likeliest value and the ends between which a sound installation lies, by geometry, rating and common practice.</summary>
/// <param name="Value">Between the ends.</param>
/// <param name="Low">Lower end.</param>
/// <param name="High">Upper end.</param>
public readonly record struct Expected(double Value, double Low, double High);

/// <summary>What geometry and rating alone say of an installation, before any of its data.</summary>
/// <param name="Kind">What it is about.</param>
/// <param name="Pump">The pump it is about, if one.</param>
/// <param name="Tank">The tank it is about, if one; with neither it is about the whole building.</param>
/// <param name="Size">Null where the arrangement itself is the trouble and no size can be told.</param>
/// <param name="Unit">Of the size.</param>
/// <param name="Outlook">Fine, to be looked at, or a fault.</param>
/// <param name="Text">Plain sentences for an installer.</param>
/// <param name="Cautions">What can hurt someone who follows them; empty where nobody has to go anywhere.</param>
public sealed record Prediction(
    PredictionKind Kind, DeviceId? Pump, DeviceId? Tank, Expected? Size, string Unit, Outlook Outlook, Phrase Text, ImmutableArray<Phrase> Cautions);

/// <summary>The published names.</summary>
public static class PredictionNames
{
    public static string Of(PredictionKind kind) => kind switch
    {
        PredictionKind.FillTime => "fill-time",
        PredictionKind.Delivery => "delivery",
        PredictionKind.Starts => "starts",
        PredictionKind.DryRunWait => "dry-run-wait",
        PredictionKind.Energy => "energy",
        PredictionKind.RestartBand => "restart-band",
        PredictionKind.ProbeSpacing => "probe-spacing",
        PredictionKind.NightLeak => "night-leak",
        PredictionKind.Storage => "storage",
        PredictionKind.TimeWithoutPump => "time-without-pump",
        PredictionKind.SumpStorage => "sump-storage",
        _ => throw new ArgumentOutOfRangeException(nameof(kind)),
    };

    public static string Of(Outlook outlook) => outlook switch
    {
        Outlook.Fine => "fine",
        Outlook.Look => "look",
        Outlook.Fault => "fault",
        _ => throw new ArgumentOutOfRangeException(nameof(outlook)),
    };
}
