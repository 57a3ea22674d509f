using Microsoft.Data.Sqlite;

namespace TankWatch.Service.Storage;

/// <summary>What every statement of the store repeats: parameters in order of <c>?1 ?2 …</c>, null as NULL, times as ticks.</summary>
/// <remarks>
/// Times are stored as ticks of 100 ns UTC, their full fidelity: a coarser time would change the order of messages after a restart.
/// </remarks>
internal static class Sql
{
    public static SqliteCommand Command(this SqliteConnection connection, string sql, params ReadOnlySpan<object?> values)
    {
        var command = connection.CreateCommand();
        command.CommandText = sql;
        foreach (var value in values)
        {
            command.Parameters.Add(new SqliteParameter { ParameterName = $"?{command.Parameters.Count + 1}", Value = Stored(value) });
        }

        return command;
    }

    /// <summary>Sets the values of a command that is run many times.</summary>
    public static SqliteCommand With(this SqliteCommand command, params ReadOnlySpan<object?> values)
    {
        for (var i = 0; i < values.Length; i++)
        {
            command.Parameters[i].Value = Stored(values[i]);
        }

        return command;
    }

    public static int Execute(this SqliteConnection connection, string sql, params ReadOnlySpan<object?> values)
    {
        using var command = connection.Command(sql, values);
        return command.ExecuteNonQuery();
    }

    public static object? Scalar(this SqliteConnection connection, string sql, params ReadOnlySpan<object?> values)
    {
        using var command = connection.Command(sql, values);
        return command.ExecuteScalar() is { } value and not DBNull ? value : null;
    }

    public static List<T> List<T>(this SqliteConnection connection, string sql, Func<SqliteDataReader, T> row, params ReadOnlySpan<object?> values)
    {
        using var command = connection.Command(sql, values);
        using var reader = command.ExecuteReader();
        var rows = new List<T>();
        while (reader.Read())
        {
            rows.Add(row(reader));
        }

        return rows;
    }

    public static T? Find<T>(this SqliteConnection connection, string sql, Func<SqliteDataReader, T> row, params ReadOnlySpan<object?> values)
        where T : class
    {
        using var command = connection.Command(sql, values);
        using var reader = command.ExecuteReader();
        return reader.Read() ? row(reader) : null;
    }

    public static DateTimeOffset Time(this SqliteDataReader reader, int column) => new(reader.GetInt64(column), TimeSpan.Zero);

    public static DateTimeOffset? TimeOrNull(this SqliteDataReader reader, int column) => reader.IsDBNull(column) ? null : reader.Time(column);

    public static string? TextOrNull(this SqliteDataReader reader, int column) => reader.IsDBNull(column) ? null : reader.GetString(column);

    private static object Stored(object? value) => value switch
    {
        null => DBNull.Value,
        DateTimeOffset time => time.UtcTicks,
        Core.SiteId { IsNone: true } => DBNull.Value,
        Core.SiteId site => site.Value,
        Core.UnitId unit => unit.Value,
        Core.DeviceId device => device.Value,
        _ => value,
    };
}
