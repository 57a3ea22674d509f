using System.Diagnostics.CodeAnalysis;
using Microsoft.AspNetCore.Http.HttpResults;
using TankWatch.Core.Time;

namespace TankWatch.Service.Api;

/// <summary>One page of a list.</summary>
/// <param name="Items">At most as many as asked for.</param>
/// <param name="Next">Give it as <c>after</c> to go on; null at the end.</param>
public sealed record PageJson<T>(IReadOnlyList<T> Items, string? Next);

/// <summary>What the routes' parameters have in common.</summary>
internal static class Query
{
    public const int UsualLimit = 100;
    public const int MaxLimit = 1000;

    public static bool TryLimit(int? asked, out int limit, [NotNullWhen(false)] out ProblemHttpResult? problem)
    {
        limit = asked ?? UsualLimit;
        problem = limit is >= 1 and <= MaxLimit ? null : Problems.BadRequest($"'limit' is a whole number from 1 to {MaxLimit}.");
        return problem is null;
    }

    /// <summary>Reads a time that may be left out.</summary>
    public static bool TryTime(string name, string? text, out DateTimeOffset? time, [NotNullWhen(false)] out ProblemHttpResult? problem)
    {
        (time, problem) = (null, null);
        if (string.IsNullOrEmpty(text))
        {
            return true;
        }

        // An unescaped plus of an offset arrives as a blank.
        if (Rfc3339.TryParse(text.Replace(' ', '+'), out var utc))
        {
            time = utc;
            return true;
        }

        problem = Problems.BadRequest($"'{name}' is not an RFC 3339 time such as 2026-03-01T05:31:07Z.");
        return false;
    }

    /// <param name="items">One more than <paramref name="limit"/> were asked for, which tells whether there is more.</param>
    /// <param name="limit">Items on the page.</param>
    /// <param name="cursor">What to go on after.</param>
    public static PageJson<T> Page<T>(IReadOnlyList<T> items, int limit, Func<T, string> cursor) => items.Count <= limit
        ? new(items, null)
        : new([.. items.Take(limit)], cursor(items[limit - 1]));
}
