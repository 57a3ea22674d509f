using Microsoft.Data.Sqlite;
using TankWatch.Core.Alerts;

namespace TankWatch.Service.Storage.Keeping;

/// <summary>Checks alerts, their events, the log over them and the outbox, some alerts in one view of the store at a time.</summary>
/// <param name="database">The store.</param>
/// <param name="fault">Is told each fault in one line.</param>
internal sealed class LedgerCheck(Database database, Action<string> fault)
{
    private const int AlertsAtOnce = 500;

    /// <returns>How many alerts there are.</returns>
    public long Run()
    {
        var (alerts, last) = (0L, "");
        while (database.Read(connection => CheckSome(connection, last)) is { Count: > 0 } some)
        {
            (alerts, last) = (alerts + some.Count, some[^1]);
        }

        database.Read(connection => { CheckLetters(connection); CheckReferences(connection); return true; });
        return alerts;
    }

    private List<string> CheckSome(SqliteConnection connection, string after)
    {
        var some = connection.List(
            "SELECT id, json FROM alerts WHERE id > ?1 ORDER BY id LIMIT ?2", row => (Id: row.GetString(0), Json: row.GetString(1)), after, AlertsAtOnce);
        foreach (var (id, json) in some)
        {
            Try($"alert {id}", () => CheckAlert(connection, id, StoredJson.Read<Alert>(json)));
        }

        return some.ConvertAll(alert => alert.Id);
    }

    private void CheckAlert(SqliteConnection connection, string id, Alert alert)
    {
        if (alert.Id != id)
        {
            fault($"alert {id} says that it is {alert.Id}");
        }

        var events = connection.List(
            """
            SELECT e.n, e.json, l.position FROM alert_events e LEFT JOIN alert_log l ON l.alert = e.alert AND l.n = e.n WHERE e.alert = ?1 ORDER BY e.n
            """,
            row => (N: row.GetInt64(0), Json: row.GetString(1), IsLogged: !row.IsDBNull(2)), id);
        if (events.Count != alert.Events || events.Where((happened, i) => happened.N != i).Any())
        {
            fault($"alert {id} has {alert.Events} events, and stored are the numbers {string.Join(", ", events.Select(happened => happened.N).Take(50))}");
        }

        foreach (var (n, json, isLogged) in events)
        {
            Try($"event {n} of alert {id}", () => StoredJson.Read<AlertEvent>(json));
            if (!isLogged)
            {
                fault($"event {n} of alert {id} is not in the log of all alerts");
            }
        }
    }

    private void CheckLetters(SqliteConnection connection)
    {
        using var command = connection.Command("SELECT n, alert, key, json, reason FROM outbox ORDER BY n");
        using var reader = command.ExecuteReader();
        while (reader.Read())
        {
            var (n, alert, key, json, reason) = (reader.GetInt64(0), reader.TextOrNull(1), reader.GetString(2), reader.GetString(3), reader.GetString(4));
            Try($"letter {n} of the outbox", () =>
            {
                var mail = LedgerStore.MailOf(reason, json);
                var about = (mail as OutboxLetter)?.Notification.Alert.Id;
                if (about != alert || mail.Key != key)
                {
                    fault($"letter {n} of the outbox is of alert {about} and stands with alert {alert}");
                }
            });
        }
    }

    /// <summary>A row that refers to one that is not there: a letter to its alert, a run to its site, and so on.</summary>
    private void CheckReferences(SqliteConnection connection)
    {
        foreach (var (table, parent, rows) in connection.List(
            "SELECT \"table\", \"parent\", count(*) FROM pragma_foreign_key_check GROUP BY 1, 2", row => (row.GetString(0), row.GetString(1), row.GetInt64(2))))
        {
            fault($"{rows} rows of {table} refer to rows of {parent} that are not there");
        }
    }

    private void Try(string what, Action check)
    {
        try
        {
            check();
        }
        catch (StoreException damage)
        {
            fault($"{what}: {damage.Message}");
        }
    }
}
