namespace TankWatch.Service.Configuration;

internal static class Spelling
{
    /// <summary>Edits that make one word of the other (Levenshtein, 1965); a hostile length is cut, since no key is that long.</summary>
    public static int Distance(string a, string b)
    {
        const int longest = 64;
        a = a[..Math.Min(a.Length, longest)];
        b = b[..Math.Min(b.Length, longest)];
        var row = Enumerable.Range(0, b.Length + 1).ToArray();
        for (var i = 1; i <= a.Length; i++)
        {
            var diagonal = row[0];
            row[0] = i;
            for (var j = 1; j <= b.Length; j++)
            {
                var change = diagonal + (a[i - 1] == b[j - 1] ? 0 : 1);
                diagonal = row[j];
                row[j] = Math.Min(change, Math.Min(row[j], row[j - 1]) + 1);
            }
        }

        return row[b.Length];
    }
}
