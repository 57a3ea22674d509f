namespace TankWatch.Browser.Tests.Browsing;

/// <summary>What Chromium writes on its console of answers that a test provokes.</summary>
internal static class Network
{
    /// <summary>An answer that says no: a page that is not there, a form that lacks something, a stranger.</summary>
    public static bool IsStatus(string complaint) => complaint.Contains("the server responded with a status of 4", StringComparison.Ordinal);

    /// <summary>No answer at all, or none yet: the sites are being read.</summary>
    public static bool IsSilence(string complaint) =>
        complaint.Contains("net::ERR_", StringComparison.Ordinal) || complaint.Contains("ERR_INCOMPLETE_CHUNKED_ENCODING", StringComparison.Ordinal)
        || complaint.Contains("the server responded with a status of 503", StringComparison.Ordinal);
}
