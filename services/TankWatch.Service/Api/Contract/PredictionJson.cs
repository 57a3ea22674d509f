using System.ComponentModel;
using TankWatch.Core;
using TankWatch.Core.Commissioning;
using TankWatch.Core.Texts;

namespace TankWatch.Service.Api.Contract;

[Description("What an installation should do, from its site file alone.")]
public sealed record PredictionsJson(string Site, IReadOnlyList<PredictionJson> Predictions)
{
    public static PredictionsJson Of(SiteId site, IEnumerable<Prediction> predictions) => new(site.Value, [.. predictions.Select(PredictionJson.Of)]);
}

[Description("One prediction; what the site file gives no figure for is left out.")]
public sealed record PredictionJson(
    string Kind,
    [property: Description("The pump it is about; null where none.")] string? Pump,
    [property: Description("The tank it is about; null where none. With neither it is about the building.")] string? Tank,
    [property: Description("Null where the arrangement itself is the trouble.")] ExpectedJson? Expected,
    [property: Description("fine; look: it may do harm; fault: it will, or the file contradicts itself.")] string Verdict,
    [property: Description("Plain sentences for an installer.")] string Text,
    [property: Description("What can hurt someone who follows them.")] IReadOnlyList<string> Cautions)
{
    public static PredictionJson Of(Prediction prediction) => new(
        PredictionNames.Of(prediction.Kind), prediction.Pump?.Value, prediction.Tank?.Value, ExpectedJson.Of(prediction.Size, prediction.Unit),
        PredictionNames.Of(prediction.Outlook), Languages.English.Say(prediction.Text), [.. prediction.Cautions.Select(Languages.English.Say)]);
}

[Description("The likeliest value, and the ends between which a sound installation lies, by common practice.")]
public sealed record ExpectedJson(double Value, double Low, double High, string Unit)
{
    /// <param name="size">Null where none can be told.</param>
    /// <param name="unit">Of the size.</param>
    public static ExpectedJson? Of(Expected? size, string unit) =>
        size is { } s ? new(Math.Round(s.Value, 2), Math.Round(s.Low, 2), Math.Round(s.High, 2), unit) : null;
}
