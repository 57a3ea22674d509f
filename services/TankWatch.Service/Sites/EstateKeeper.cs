using System.Collections.Immutable;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Areas;
using TankWatch.Core.Findings;
using TankWatch.Core.Own;
using TankWatch.Core.Sites;
using TankWatch.Service.Configuration;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Sites;

/// <summary>
/// The alerts that are of no one site: outages of areas, told to the people of all their sites, each once; and faults of this service, told
/// to its operators alone. Owned by the keeper.
/// </summary>
internal sealed class EstateKeeper(LedgerStore ledger, OperatorOptions options, ReadyState ready)
{
    /// <summary>Often enough for what is told after half a minute at the soonest, and seldom enough for a hundred thousand sites.</summary>
    private static readonly TimeSpan LookEvery = TimeSpan.FromSeconds(10);

    /// <summary>All that was learnt is written as one; what is learnt between is learnt again the next time.</summary>
    private static readonly TimeSpan WriteLearntEvery = TimeSpan.FromMinutes(10);

    private static readonly TimeSpan AlertsKept = TimeSpan.FromDays(1);

    private readonly Dictionary<string, Subject> subjects = new(StringComparer.Ordinal);
    private readonly Dictionary<string, DateTimeOffset> lateSince = new(StringComparer.Ordinal);
    private AreaState areas = AreaState.Start;
    private AreaState written = AreaState.Start;
    private DateTimeOffset lookedAt, writtenAt;

    /// <summary>Whatever is in memory is of another store, or of none.</summary>
    public void Load(DateTimeOffset now)
    {
        subjects.Clear();
        foreach (var alert in ledger.ReadAlertsFrom(SiteId.None, now - AlertsKept))
        {
            var subject = SubjectOf(alert.Finding.Kind, alert.Finding.Device);
            subject.Alerts = subject.Alerts with { Alerts = subject.Alerts.Alerts.Add(alert) };
        }

        var open = subjects.Values.SelectMany(subject => subject.Alerts.Alerts).Where(alert => alert.Finding is { Kind: FindingKind.AreaOutage, IsOpen: true }).Select(alert => alert.Finding);
        areas = written = AreaJson.Read(ledger.ReadAreas(), open);
    }

    /// <summary>The open ones, newest first.</summary>
    public ImmutableArray<Alert> Open => [.. subjects.Values.SelectMany(subject => subject.Alerts.Alerts).Where(alert => alert.IsOpen).OrderByDescending(alert => alert.Id, StringComparer.Ordinal)];

    /// <summary>Looks at all sites, and at the service itself.</summary>
    /// <param name="sites">All that are judged at present.</param>
    /// <param name="now">Wall clock, UTC.</param>
    /// <param name="listening">Since when a broker delivers; null while none does.</param>
    /// <param name="clockMoved">By how much the wall clock was set.</param>
    public List<SiteWrites> Tick(IReadOnlyCollection<KeptSite> sites, DateTimeOffset now, DateTimeOffset? listening, TimeSpan clockMoved)
    {
        if (clockMoved == TimeSpan.Zero && (now - lookedAt).Duration() < LookEvery && subjects.Values.All(subject => subject.Alerts.DueAt > now))
        {
            return [];
        }

        lookedAt = now;
        var outages = areas.Open.Values.Select(outage => outage.Finding).ToImmutableArray(); // While nothing is heard what was known holds on: what is left out counts as withdrawn.
        if (listening is not null)
        {
            (areas, outages) = AreaWatch.Judge(areas, [.. sites.Select(site => site.Sign)], now);
        }

        var findings = OwnFindings(now).AddRange(outages);
        var told = Tell(findings, sites, now, clockMoved).Where(writes => !writes.IsEmpty).ToList();
        Explain(sites);
        if (areas == written || (ReferenceEquals(areas.Open, written.Open) && (now - writtenAt).Duration() < WriteLearntEvery))
        {
            return told;
        }

        (written, writtenAt) = (areas, now);
        return [.. told, SiteWrites.Nothing(PlanOf(Subject.Own, [])) with { Areas = AreaJson.Write(areas) }];
    }

    /// <summary>Carries out a command on an alert of no site.</summary>
    public Obeyed Obey(AlertCommand command, Alert stored, IReadOnlyCollection<KeptSite> sites, DateTimeOffset now)
    {
        var subject = SubjectOf(stored.Finding.Kind, stored.Finding.Device);
        if (!subject.Alerts.Alerts.Any(alert => alert.Id == stored.Id))
        {
            subject.Alerts = subject.Alerts with { Alerts = subject.Alerts.Alerts.Add(stored) };
        }

        var plan = PlanOf(subject.Name, sites);
        var writes = Tell(subject, new(now, CaughtUp: true, [], [command]), plan);
        return Obeyed.Of(command, writes, subject.Alerts.Alerts.First(alert => alert.Id == command.AlertId), now);
    }

    private ImmutableArray<Finding> OwnFindings(DateTimeOffset now)
    {
        var signs = new List<OwnSign>();
        foreach (var stage in ready.Stages)
        {
            if (stage.Ok)
            {
                lateSince.Remove(stage.Name);
            }

            signs.Add(new(stage.Name, stage.Ok ? null : lateSince.TryGetValue(stage.Name, out var since) ? since : lateSince[stage.Name] = now, stage.Reason));
        }

        return OwnWatch.Judge([.. SubjectOf(FindingKind.ServiceFault, default).Alerts.Alerts.Where(alert => alert.Finding.IsOpen).Select(alert => alert.Finding)], signs, now);
    }

    private List<SiteWrites> Tell(ImmutableArray<Finding> findings, IReadOnlyCollection<KeptSite> sites, DateTimeOffset now, TimeSpan clockMoved)
    {
        foreach (var finding in findings)
        {
            _ = SubjectOf(finding.Kind, finding.Device);
        }

        var writes = new List<SiteWrites>();
        foreach (var subject in subjects.Values.Where(subject => !subject.Alerts.Alerts.IsEmpty || findings.Any(subject.Has)).ToList())
        {
            var changes = new FindingChanges(FindingScope.Link, now, [.. findings.Where(subject.Has)]);
            writes.Add(Tell(subject, new(now, CaughtUp: true, [changes], []) { ClockMoved = clockMoved }, PlanOf(subject.Name, sites)));
            subject.Forget(now - AlertsKept);
        }

        return writes;
    }

    private static SiteWrites Tell(Subject subject, TellInput input, SitePlan plan)
    {
        var told = SiteStep.Tell(subject.Alerts, input, plan);
        subject.Alerts = told.Next;
        return SiteWrites.Nothing(plan) with { Alerts = told.Next.Alerts, Events = told.Events, Notices = told.Notifications };
    }

    /// <summary>Hangs what the outage of an area explains under it, site by site.</summary>
    private void Explain(IReadOnlyCollection<KeptSite> sites)
    {
        var causes = areas.Open.Keys.ToDictionary(area => area, area => SubjectOf(FindingKind.AreaOutage, new(area)).Cause, StringComparer.Ordinal);
        var learnt = areas.Open.Count == 0 ? null : areas.LearntAreas();
        foreach (var site in sites)
        {
            site.Outside(learnt is not null && (site.Plan.Area ?? learnt.GetValueOrDefault(site.Plan.Id.Value)) is { } area && causes.TryGetValue(area, out var cause) ? cause : []);
        }
    }

    private Subject SubjectOf(FindingKind kind, DeviceId device)
    {
        var name = kind == FindingKind.AreaOutage ? device.Value : Subject.Own;
        return subjects.TryGetValue(name, out var subject) ? subject : subjects[name] = new(name);
    }

    /// <summary>Who hears of a subject, in the form in which everyone is told.</summary>
    private SitePlan PlanOf(string subject, IReadOnlyCollection<KeptSite> sites)
    {
        if (subject == Subject.Own)
        {
            var operators = options.Email.Select(email => new Contact(email, email, null, "operator", options.Language));
            return Plan("TankWatch", TimeZoneInfo.Utc, [.. operators]);
        }

        var learnt = areas.LearntAreas();
        var concerned = sites.Select(site => site.People).Where(plan => (plan.Area ?? learnt.GetValueOrDefault(plan.Id.Value)) == subject)
            .OrderBy(plan => plan.Id.Value, StringComparer.Ordinal).ToList();
        return Plan(subject, concerned.FirstOrDefault()?.TimeZone ?? TimeZoneInfo.Utc, [.. concerned.SelectMany(plan => plan.Contacts)]);

        static SitePlan Plan(string name, TimeZoneInfo zone, ImmutableArray<Contact> contacts) =>
            new(SiteId.None, name, zone, null, null, null, [], [], [], null, null, [], contacts);
    }

    /// <summary>What the alerts of one audience are about.</summary>
    private sealed class Subject(string name)
    {
        /// <summary>This service. No area has this name: a site file's texts are not empty.</summary>
        public const string Own = "";

        public string Name { get; } = name;
        public SiteAlerts Alerts { get; set; } = SiteAlerts.None(SiteId.None);

        /// <summary>The open alert, as what may explain others.</summary>
        public ImmutableArray<OuterCause> Cause => [.. Alerts.Alerts.Where(alert => alert is { IsOpen: true, Finding.IsOpen: true })
            .Select(alert => new OuterCause(alert.Id, alert.Finding.Kind, alert.Finding.Priority, alert.Finding.Since))];

        public bool Has(Finding finding) => (finding.Kind == FindingKind.AreaOutage ? finding.Device.Value : Own) == Name;

        public void Forget(DateTimeOffset before) => Alerts = Alerts with { Alerts = Alerts.Alerts.RemoveAll(alert => !alert.IsOpen && !alert.OwesEnding && alert.Finding.ClearedAt < before) };
    }
}
