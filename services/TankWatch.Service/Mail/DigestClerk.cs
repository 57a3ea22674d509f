using System.Collections.Immutable;
using System.Globalization;
using System.Security.Cryptography;
using System.Text;
using TankWatch.Core.Notifications;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Mail;

/// <summary>
/// Writes each person one digest of all their sites, at seven in the morning of their first site, daily or weekly as their contact says.
/// When it says both, daily. That it was written is kept with it: once, over restarts too. After days of standing still it writes one.
/// </summary>
public sealed partial class DigestClerk(
    LedgerStore ledger, SiteDirectory directory, MailComposer composer, OutboxBell bell, TimeProvider time, ILogger<DigestClerk> logger) : BackgroundService
{
    private static readonly TimeSpan LookEvery = TimeSpan.FromMinutes(1);

    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        using var timer = new PeriodicTimer(LookEvery, time);
        while (await timer.WaitForNextTickAsync(stoppingToken))
        {
            try
            {
                WriteDue();
            }
            catch (Exception fault) when (fault is Microsoft.Data.Sqlite.SqliteException or StoreException)
            {
                LogFailed(fault); // The next look tries again.
            }
        }
    }

    /// <summary>Writes what is due now.</summary>
    internal void WriteDue()
    {
        var now = time.GetUtcNow();
        var (declined, digests) = (ledger.ReadDeclined(), ledger.ReadDigests());
        var readers = directory.Sites.SelectMany(site => site.Plan.Contacts.Select(contact => (site.Plan, Contact: contact)))
            .Where(one => one.Contact is { Email: not null, Digest: not DigestRhythm.None } && !declined[one.Plan.Id].Contains(one.Contact.Email.ToLowerInvariant()))
            .GroupBy(one => one.Contact.Email!.ToLowerInvariant(), StringComparer.Ordinal).ToList();
        if (readers.Where(reader => !digests.ContainsKey(reader.Key)).Select(reader => reader.Key).ToList() is { Count: > 0 } unknown)
        {
            ledger.BeginDigests(unknown, now);
        }

        foreach (var reader in readers.Where(reader => digests.ContainsKey(reader.Key)))
        {
            var sites = reader.OrderBy(one => one.Plan.Id.Value, StringComparer.Ordinal).DistinctBy(one => one.Plan.Id).ToList();
            var zone = sites[0].Plan.TimeZone;
            var due = Digest.LastDue(now, zone, sites.Any(one => one.Contact.Digest == DigestRhythm.Daily) ? DigestRhythm.Daily : DigestRhythm.Weekly);
            if (digests[reader.Key] < due)
            {
                TryWrite(() => Write(reader.Key, sites, digests[reader.Key], due, now));
            }
        }
    }

    /// <summary>What is wrong with one digest keeps back no other, and does not end the service.</summary>
    private void TryWrite(Action write)
    {
        try
        {
            write();
        }
        catch (Exception fault)
        {
            LogFailed(fault); // The next look writes it.
        }
    }

    private void Write(string email, List<(SitePlan Plan, Contact Contact)> sites, DateTimeOffset since, DateTimeOffset due, DateTimeOffset now)
    {
        var (first, contact) = sites[0];
        var said = sites.Select(one => (one.Plan, Lines: Digest.LinesOf(ledger.ListForDigest(one.Plan.Id, since, now), one.Contact, one.Plan.TimeZone, since, now)))
            .Where(site => !site.Lines.IsEmpty)
            .OrderByDescending(site => site.Lines[0].Gravity).ThenByDescending(site => site.Lines.Length).ThenBy(site => site.Plan.Name, StringComparer.Ordinal)
            .Select(site => new DigestSite(site.Plan.Name, [.. site.Lines.Select(line => line.Says)])).ToList();
        var date = TimeZoneInfo.ConvertTime(due, first.TimeZone).ToString("yyyy-MM-dd", CultureInfo.InvariantCulture);
        var key = $"digest.{date}.{Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(email)).AsSpan(0, 8))}";
        var opening = Phrase.Of("digest.opening", ("at", MailWords.Local(since, first.TimeZone)));
        var shown = Shorten(said);
        var rest = said.Skip(shown.Length).ToList();
        var mail = said.Count == 0 ? null : new DigestMail(key, composer.MessageIdOf(key, ledger.GetInstallation()), contact, opening, shown)
        {
            MoreSites = rest.Count, MoreLines = rest.Sum(site => site.Lines.Length),
        };
        ledger.PostDigest(email, mail, now, contact.Quiet?.EndAfter(now, first.TimeZone) ?? now);
        if (mail is not null)
        {
            bell.Ring();
        }
    }

    /// <summary>The worst sites, as many as fit, each with as many lines as fit and how many more it has.</summary>
    private static ImmutableArray<DigestSite> Shorten(IEnumerable<DigestSite> sites)
    {
        var shown = ImmutableArray.CreateBuilder<DigestSite>();
        var left = Digest.MostLines;
        foreach (var site in sites.TakeWhile(_ => left > 0))
        {
            var fit = Math.Min(site.Lines.Length, Math.Min(left, Digest.MostOfASite));
            var more = site.Lines.Length - fit;
            shown.Add(more == 0 ? site : site with { Lines = [.. site.Lines.Take(fit), Phrase.Of("digest.more", ("count", more))] });
            left -= fit;
        }

        return shown.ToImmutable();
    }

    [LoggerMessage(Level = LogLevel.Error, Message = "a digest could not be written")]
    private partial void LogFailed(Exception fault);
}
