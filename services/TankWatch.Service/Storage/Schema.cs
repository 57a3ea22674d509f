using Microsoft.Data.Sqlite;

namespace TankWatch.Service.Storage;

/// <summary>The tables, as a list of steps; <c>PRAGMA user_version</c> counts those taken. A step that was released is never edited.</summary>
internal static class Schema
{
    /// <summary>The step that made the journal of batches, and takes over what was kept before.</summary>
    private const int JournalStep = 2;

    private static readonly string[] Steps =
    [
        """
        CREATE TABLE meta (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;

        CREATE TABLE sites (id TEXT PRIMARY KEY, json TEXT NOT NULL, updated INTEGER NOT NULL) WITHOUT ROWID;
        CREATE TABLE units (
            id TEXT PRIMARY KEY, site TEXT NOT NULL REFERENCES sites(id) ON DELETE CASCADE,
            secret BLOB, issued INTEGER, revoked INTEGER) WITHOUT ROWID;
        CREATE INDEX units_of_site ON units(site);
        CREATE TABLE keys (
            name TEXT PRIMARY KEY, hash BLOB NOT NULL UNIQUE, role TEXT NOT NULL, site TEXT, created INTEGER NOT NULL, revoked INTEGER) WITHOUT ROWID;

        -- The journal: id is the position. Rows come in order of arrival, so appending dirties few pages.
        CREATE TABLE messages (
            id INTEGER PRIMARY KEY, site TEXT NOT NULL, unit TEXT NOT NULL, kind TEXT NOT NULL, device TEXT,
            at INTEGER NOT NULL, received INTEGER NOT NULL, claimed INTEGER, boot INTEGER, seq INTEGER,
            retained INTEGER NOT NULL, identity TEXT NOT NULL UNIQUE, payload BLOB NOT NULL);
        CREATE INDEX messages_in_order ON messages(site, at, unit, boot, seq);
        -- bucket: the unit, or '' for whoever no site knows. Each bucket keeps its newest; see SeriesStore.
        CREATE TABLE refused (
            id INTEGER PRIMARY KEY, bucket TEXT NOT NULL, unit TEXT, topic TEXT NOT NULL, payload BLOB NOT NULL, length INTEGER NOT NULL,
            reason TEXT NOT NULL, detail TEXT NOT NULL, received INTEGER NOT NULL);
        CREATE INDEX refused_by_bucket ON refused(bucket, id);
        CREATE INDEX refused_by_unit ON refused(unit, id);

        CREATE TABLE runs (
            site TEXT NOT NULL REFERENCES sites(id) ON DELETE CASCADE, pump TEXT NOT NULL, started INTEGER NOT NULL, stopped INTEGER,
            json TEXT NOT NULL, PRIMARY KEY (site, started, pump)) WITHOUT ROWID;
        CREATE TABLE days (
            site TEXT NOT NULL REFERENCES sites(id) ON DELETE CASCADE, date TEXT NOT NULL, json TEXT NOT NULL,
            PRIMARY KEY (site, date)) WITHOUT ROWID;

        CREATE TABLE alerts (
            id TEXT PRIMARY KEY, site TEXT NOT NULL REFERENCES sites(id) ON DELETE CASCADE, device TEXT NOT NULL, kind TEXT NOT NULL,
            state TEXT NOT NULL, since INTEGER NOT NULL, raised INTEGER NOT NULL, cleared INTEGER, json TEXT NOT NULL) WITHOUT ROWID;
        CREATE INDEX alerts_of_site ON alerts(site, state, cleared);
        CREATE TABLE alert_events (
            alert TEXT NOT NULL REFERENCES alerts(id) ON DELETE CASCADE, n INTEGER NOT NULL, at INTEGER NOT NULL, type TEXT NOT NULL,
            json TEXT NOT NULL, PRIMARY KEY (alert, n)) WITHOUT ROWID;
        CREATE TABLE outbox (
            n INTEGER PRIMARY KEY AUTOINCREMENT, key TEXT NOT NULL UNIQUE, alert TEXT NOT NULL REFERENCES alerts(id) ON DELETE CASCADE,
            reason TEXT NOT NULL, recipient TEXT NOT NULL, message_id TEXT NOT NULL, json TEXT NOT NULL, created INTEGER NOT NULL,
            attempts INTEGER NOT NULL DEFAULT 0, next_attempt INTEGER, sent_at INTEGER, abandoned_at INTEGER, last_error TEXT);
        CREATE INDEX outbox_due ON outbox(next_attempt, n) WHERE next_attempt IS NOT NULL;
        """,
        """
        -- One order over the events of all alerts. AUTOINCREMENT: a position is never given twice, not even after its event was deleted.
        CREATE TABLE alert_log (
            position INTEGER PRIMARY KEY AUTOINCREMENT, alert TEXT NOT NULL, n INTEGER NOT NULL, UNIQUE (alert, n),
            FOREIGN KEY (alert, n) REFERENCES alert_events(alert, n) ON DELETE CASCADE);
        -- In order of time; a clock that was set back must not turn round the events of one alert.
        INSERT INTO alert_log (alert, n)
            SELECT alert, n FROM (SELECT alert, n, max(at) OVER (PARTITION BY alert ORDER BY n) AS reached FROM alert_events)
            ORDER BY reached, alert, n;
        """,
        """
        -- Another number whenever a site is put: what a running service looks at to see which of thousands have changed.
        ALTER TABLE sites ADD COLUMN version INTEGER NOT NULL DEFAULT 0;

        -- A message is first a row in a batch of the journal, one batch a group commit, and is folded later into blocks, in order, one
        -- stream (unit, kind, device) beside the other. See Storage/Series for what the packed columns hold.
        CREATE TABLE journal (id INTEGER PRIMARY KEY AUTOINCREMENT, batch BLOB NOT NULL);
        CREATE TABLE streams (
            id INTEGER PRIMARY KEY AUTOINCREMENT, site TEXT NOT NULL REFERENCES sites(id) ON DELETE CASCADE, unit TEXT NOT NULL, kind TEXT NOT NULL,
            device TEXT NOT NULL, UNIQUE (site, unit, kind, device));
        CREATE TABLE blocks (id INTEGER PRIMARY KEY, rows INTEGER NOT NULL, data BLOB NOT NULL);
        -- Which messages were taken, by the units' own counts.
        CREATE TABLE unit_counts (unit TEXT PRIMARY KEY, counts BLOB NOT NULL);
        CREATE TABLE unit_boots (unit TEXT NOT NULL, boot INTEGER NOT NULL, seqs BLOB NOT NULL, PRIMARY KEY (unit, boot));
        -- Where each site goes on after a restart, and where it goes back to when late messages come.
        CREATE TABLE site_marks (
            site TEXT PRIMARY KEY REFERENCES sites(id) ON DELETE CASCADE, position INTEGER NOT NULL, units TEXT NOT NULL, state BLOB);
        CREATE TABLE snapshots (
            site TEXT NOT NULL REFERENCES sites(id) ON DELETE CASCADE, at INTEGER NOT NULL, state BLOB NOT NULL, PRIMARY KEY (site, at));
        """,
        "ALTER TABLE outbox ADD COLUMN trace TEXT;",
        """
        -- Alerts that are of no one site (the outage of an area, a fault of this service), and letters that are of no one alert (a digest,
        -- several letters said in one). SQLite takes no NOT NULL away: the tables are made anew, the parents first, and take the old names.
        CREATE TABLE alerts_new (
            id TEXT PRIMARY KEY, site TEXT REFERENCES sites(id) ON DELETE CASCADE, device TEXT NOT NULL, kind TEXT NOT NULL,
            state TEXT NOT NULL, since INTEGER NOT NULL, raised INTEGER NOT NULL, cleared INTEGER, caused_by TEXT, json TEXT NOT NULL) WITHOUT ROWID;
        INSERT INTO alerts_new (id, site, device, kind, state, since, raised, cleared, json) SELECT id, site, device, kind, state, since, raised, cleared, json FROM alerts;
        CREATE TABLE alert_events_new (
            alert TEXT NOT NULL REFERENCES alerts_new(id) ON DELETE CASCADE, n INTEGER NOT NULL, at INTEGER NOT NULL, type TEXT NOT NULL,
            json TEXT NOT NULL, PRIMARY KEY (alert, n)) WITHOUT ROWID;
        INSERT INTO alert_events_new SELECT alert, n, at, type, json FROM alert_events;
        CREATE TABLE alert_log_new (
            position INTEGER PRIMARY KEY AUTOINCREMENT, alert TEXT NOT NULL, n INTEGER NOT NULL, UNIQUE (alert, n),
            FOREIGN KEY (alert, n) REFERENCES alert_events_new(alert, n) ON DELETE CASCADE);
        INSERT INTO alert_log_new SELECT position, alert, n FROM alert_log;
        -- gathered_in: the letter that says this one together with others; it goes by itself no more.
        CREATE TABLE outbox_new (
            n INTEGER PRIMARY KEY AUTOINCREMENT, key TEXT NOT NULL UNIQUE, alert TEXT REFERENCES alerts_new(id) ON DELETE CASCADE,
            reason TEXT NOT NULL, recipient TEXT NOT NULL, message_id TEXT NOT NULL, json TEXT NOT NULL, created INTEGER NOT NULL,
            attempts INTEGER NOT NULL DEFAULT 0, next_attempt INTEGER, sent_at INTEGER, abandoned_at INTEGER, last_error TEXT, trace TEXT,
            gathered_in INTEGER REFERENCES outbox_new(n) ON DELETE SET NULL);
        INSERT INTO outbox_new (n, key, alert, reason, recipient, message_id, json, created, attempts, next_attempt, sent_at, abandoned_at, last_error, trace)
            SELECT n, key, alert, reason, recipient, message_id, json, created, attempts, next_attempt, sent_at, abandoned_at, last_error, trace FROM outbox;
        -- A position or number is never given twice, not even after its row was deleted.
        INSERT INTO sqlite_sequence (name, seq) SELECT 'alert_log_new', 0 WHERE NOT EXISTS (SELECT 1 FROM sqlite_sequence WHERE name = 'alert_log_new');
        INSERT INTO sqlite_sequence (name, seq) SELECT 'outbox_new', 0 WHERE NOT EXISTS (SELECT 1 FROM sqlite_sequence WHERE name = 'outbox_new');
        UPDATE sqlite_sequence SET seq = max(seq, coalesce((SELECT seq FROM sqlite_sequence WHERE name = 'alert_log'), 0)) WHERE name = 'alert_log_new';
        UPDATE sqlite_sequence SET seq = max(seq, coalesce((SELECT seq FROM sqlite_sequence WHERE name = 'outbox'), 0)) WHERE name = 'outbox_new';
        DROP TABLE outbox;
        DROP TABLE alert_log;
        DROP TABLE alert_events;
        DROP TABLE alerts;
        ALTER TABLE alerts_new RENAME TO alerts;
        ALTER TABLE alert_events_new RENAME TO alert_events;
        ALTER TABLE alert_log_new RENAME TO alert_log;
        ALTER TABLE outbox_new RENAME TO outbox;
        CREATE INDEX alerts_of_site ON alerts(site, state, cleared);
        CREATE INDEX alerts_by_cause ON alerts(caused_by) WHERE caused_by IS NOT NULL;
        CREATE INDEX outbox_due ON outbox(next_attempt, n) WHERE next_attempt IS NOT NULL;
        -- Who asked to be told of nothing but the critical; the address in lower case.
        CREATE TABLE declined (
            site TEXT NOT NULL REFERENCES sites(id) ON DELETE CASCADE, email TEXT NOT NULL, at INTEGER NOT NULL, PRIMARY KEY (site, email)) WITHOUT ROWID;
        """,
        """
        -- For the load of alerts and the record of how often they were right: whom was told when, and which alerts were closed.
        CREATE INDEX alert_events_told ON alert_events(at) WHERE type = 'notified';
        CREATE INDEX alert_events_closed ON alert_events(alert) WHERE type = 'closed';
        CREATE INDEX outbox_by_time ON outbox(created);
        CREATE INDEX outbox_of_alert ON outbox(alert, n);
        """,
        """
        -- Who is told of events of alerts by HTTP. Secrets stand in clear, since they sign. cursor: a position of alert_log, up to which
        -- everything was delivered or set aside. failures are those in a row in which the target did not answer or was not well.
        CREATE TABLE webhooks (
            id TEXT PRIMARY KEY, url TEXT NOT NULL, site TEXT REFERENCES sites(id) ON DELETE CASCADE, secret TEXT NOT NULL,
            former_secret TEXT, former_until INTEGER, created INTEGER NOT NULL, cursor INTEGER NOT NULL,
            failures INTEGER NOT NULL DEFAULT 0, failing_since INTEGER, next_attempt INTEGER, disabled INTEGER, disabled_why TEXT) WITHOUT ROWID;
        -- One row an event; position is that of alert_log.
        CREATE TABLE webhook_deliveries (
            webhook TEXT NOT NULL REFERENCES webhooks(id) ON DELETE CASCADE, position INTEGER NOT NULL, message TEXT NOT NULL, alert TEXT NOT NULL,
            type TEXT NOT NULL, state TEXT NOT NULL, attempts INTEGER NOT NULL, first INTEGER NOT NULL, last INTEGER NOT NULL, status INTEGER,
            detail TEXT NOT NULL, PRIMARY KEY (webhook, position)) WITHOUT ROWID;
        """,
        """
        -- Browsers that show alerts. One endpoint is one browser; the address in lower case is whose it is.
        CREATE TABLE push_subscriptions (
            id TEXT PRIMARY KEY, endpoint TEXT NOT NULL UNIQUE, p256dh TEXT NOT NULL, auth TEXT NOT NULL, email TEXT NOT NULL, created INTEGER NOT NULL) WITHOUT ROWID;
        CREATE INDEX push_by_email ON push_subscriptions(email);
        -- A letter that goes to browsers first. Its mail waits a minute for a receipt; token is what the browser sends back.
        CREATE TABLE pushes (
            n INTEGER PRIMARY KEY REFERENCES outbox(n) ON DELETE CASCADE, due INTEGER, token TEXT NOT NULL UNIQUE, received INTEGER, last_error TEXT);
        CREATE INDEX pushes_due ON pushes(due) WHERE due IS NOT NULL;
        """,
        """
        -- What an installer promises a site, and who goes there when; a letter about a visit goes with it.
        CREATE TABLE contracts (site TEXT PRIMARY KEY REFERENCES sites(id) ON DELETE CASCADE, json TEXT NOT NULL, updated INTEGER NOT NULL) WITHOUT ROWID;
        CREATE TABLE visits (
            id TEXT PRIMARY KEY, site TEXT NOT NULL REFERENCES sites(id) ON DELETE CASCADE, state TEXT NOT NULL, starts INTEGER NOT NULL, json TEXT NOT NULL) WITHOUT ROWID;
        CREATE INDEX visits_of_site ON visits(site, starts, id);
        ALTER TABLE outbox ADD COLUMN visit TEXT REFERENCES visits(id) ON DELETE CASCADE;
        CREATE INDEX outbox_of_visit ON outbox(visit) WHERE visit IS NOT NULL;
        """,
        """
        -- waited_for: what a letter that could go was kept by, 'outage' of mail or the 'cap' on mails an hour; null when it was by nothing.
        ALTER TABLE outbox ADD COLUMN waited_for TEXT;
        ALTER TABLE outbox ADD COLUMN critical INTEGER NOT NULL DEFAULT 0;
        UPDATE outbox SET critical = 1
            WHERE 'critical' IN (json_extract(json, '$.notification.alert.finding.priority'), json_extract(json, '$.notification.alert.gravestTold'));
        CREATE INDEX outbox_gathered ON outbox(gathered_in) WHERE gathered_in IS NOT NULL;
        CREATE INDEX outbox_of_person ON outbox(recipient COLLATE NOCASE, sent_at);
        -- Up to when a person, by their address in lower case, has had their digest.
        CREATE TABLE digests (email TEXT PRIMARY KEY, until INTEGER NOT NULL) WITHOUT ROWID;
        """,
    ];

    /// <exception cref="StoreException">A newer version of the program made this store.</exception>
    public static void Bring(SqliteConnection connection) => Bring(connection, Steps.Length);

    /// <param name="connection">To an older store, or an empty one.</param>
    /// <param name="last">How many of the steps to take: a store as an earlier version made it.</param>
    internal static void Bring(SqliteConnection connection, int last)
    {
        // Immediate, and the version read inside: two processes may start on an empty folder at once.
        using var transaction = connection.BeginTransaction(deferred: false);
        var version = Convert.ToInt32(connection.Scalar("PRAGMA user_version"), System.Globalization.CultureInfo.InvariantCulture);
        if (version > Steps.Length)
        {
            throw new StoreException($"the store has version {version} and this program knows {Steps.Length}: it was made by a newer version");
        }

        for (; version < last; version++)
        {
            connection.Execute(Steps[version]);
            if (version == JournalStep)
            {
                OldMessages.Move(connection);
                connection.Execute("DROP TABLE messages");
            }

            connection.Execute($"PRAGMA user_version={version + 1}");
        }

        transaction.Commit();
    }
}
