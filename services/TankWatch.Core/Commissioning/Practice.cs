using TankWatch.Core.Findings.Rules;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;

namespace TankWatch.Core.Commissioning;

/// <summary>
/// What sets and probes are like before anyone has measured them, and how predictions say it. All of it is common practice without a source; what comes
/// from a source stands in <c>Hydraulics</c>.
/// </summary>
internal static class Practice
{
    /// <summary>Real over rated delivery: the least, what most give, and the rating itself, which some files state at the working head.</summary>
    public const double LeastShare = Asking.WorstShareOfRating, UsualShare = 0.8, MostShare = 1;

    /// <summary>How far the litres between two probes are off, as a share: 5 to 10 %.</summary>
    public const double BandError = 0.1;

    /// <summary>From the mains to the water, of sets up to 2 hp.</summary>
    public const double LeastEfficiency = 0.35, UsualEfficiency = 0.45, MostEfficiency = 0.6;

    /// <summary>What a quantity V/Q comes to with a band and a rating that are both uncertain.</summary>
    /// <param name="atRating">V/Q as the site file has it.</param>
    public static Expected OverDelivery(double atRating) =>
        new(atRating / UsualShare, atRating * (1 - BandError) / MostShare, atRating * (1 + BandError) / LeastShare);

    /// <summary>A band of which nothing is known but its nominal litres, over something sure.</summary>
    public static Expected OfBand(double nominal) => new(nominal, nominal * (1 - BandError), nominal * (1 + BandError));

    public static Litres BandOf(Tank tank) => tank.Probes.IsEmpty ? default : new(tank.Probes[^1].Volume.Value - tank.Probes[0].Volume.Value);

    /// <summary>As fine as it is worth telling: 80, 2.4, 0.31. Its gap is <c>{name:fine}</c>.</summary>
    public static PhraseNumber Number(double value) => new(Math.Round(value, value >= 10 ? 0 : value >= 1 ? 1 : 2));

    /// <summary>"49 to 148 minutes"; the unit is the longer one's.</summary>
    public static Phrase Between(TimeSpan low, TimeSpan high)
    {
        var (unit, range, same) = high switch
        {
            { TotalSeconds: < 200 } => (TimeSpan.FromSeconds(1), "expect.seconds", "span.seconds"),
            { TotalMinutes: < 200 } => (TimeSpan.FromMinutes(1), "expect.minutes", "span.minutes"),
            { TotalHours: < 72 } => (TimeSpan.FromHours(1), "expect.hours", "span.hours"),
            _ => (TimeSpan.FromDays(1), "expect.days", "span.days"),
        };
        var (from, to) = (Number(low / unit), Number(high / unit));
        return from == to ? Phrase.Of(same, ("n", to)) : Phrase.Of(range, ("low", from), ("high", to));
    }

    public static Phrase Lasting(TimeSpan time) => Between(time, time);

    /// <summary>One sentence after the other.</summary>
    public static Phrase Sentences(params IEnumerable<Phrase> sentences) => Phrase.Of("sentences", ("all", PhraseList.Of(ListStyle.Sentences, sentences)));
}
