using System.Text;
using TankWatch.Core.Findings;
using TankWatch.Service.Api;

namespace TankWatch.Service.Pages.Estate;

/// <summary>Which buildings somebody asks for, as the page's address says.</summary>
/// <param name="Search">As typed, without blanks around it; empty for none.</param>
/// <param name="Wrong">Empty for all, <see cref="AnythingWrong"/>, or a kind's stored name.</param>
/// <param name="Kind">That kind.</param>
/// <param name="After">Where the page begins; null for the start.</param>
/// <param name="Fault">What cannot be answered; empty when all can.</param>
public sealed record EstateQuery(string Search, string Wrong, FindingKind? Kind, Rank? After, IReadOnlyList<Said> Fault)
{
    public const string AnythingWrong = "any";
    public const int LongestSearch = 100;

    public static EstateQuery All { get; } = new("", "", null, null, []);

    public static EstateQuery Read(string? search, string? wrong, string? after)
    {
        var (typed, filter) = (search?.Trim() ?? "", wrong ?? "");
        if (typed.Length > LongestSearch)
        {
            return All with { Fault = Said.Of("home.fault.long", ("most", LongestSearch)) };
        }

        FindingKind? kind = FindingNames.TryParse(filter, out var found) ? found : null;
        var asked = new EstateQuery(typed, filter, kind, null, []);
        if (kind is null && filter is not ("" or AnythingWrong))
        {
            return asked with { Wrong = "", Fault = Said.Of("home.fault.kind", ("kind", Said.Name(filter.Length > LongestSearch ? filter[..LongestSearch] + "…" : filter))) };
        }

        return string.IsNullOrEmpty(after) ? asked
            : Rank.Find(after) is { } rank ? asked with { After = rank }
            : asked with { Fault = Said.Of("home.fault.part") };
    }

    /// <summary>The address of this very page.</summary>
    public override string ToString()
    {
        var address = new StringBuilder("/");
        Add("q", Search);
        Add("wrong", Wrong);
        Add("after", After?.ToString() ?? "");
        return address.ToString();

        void Add(string name, string value)
        {
            if (value.Length > 0)
            {
                address.Append(address.Length == 1 ? '?' : '&').Append(name).Append('=').Append(Uri.EscapeDataString(value));
            }
        }
    }
}
