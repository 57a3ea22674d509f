using System.Text.Json;
using System.Text.Json.Serialization;
using System.Text.Json.Serialization.Metadata;
using TankWatch.Core;
using TankWatch.Core.Alerts;

namespace TankWatch.Service.Storage;

/// <summary>
/// How records stand in the store. The names of events, kinds and states are a format: add, never rename. Members may be added when
/// their absence reads as null.
/// </summary>
internal static class StoredJson
{
    private static readonly (Type Type, string Name)[] Events =
    [
        (typeof(AlertRaised), "raised"),
        (typeof(AlertReraised), "reraised"),
        (typeof(AlertReturned), "returned"),
        (typeof(AlertCorrected), "corrected"),
        (typeof(AlertReworded), "reworded"),
        (typeof(AlertAcknowledged), "acknowledged"),
        (typeof(AlertNoted), "noted"),
        (typeof(AlertShelved), "shelved"),
        (typeof(AlertUnshelved), "unshelved"),
        (typeof(AlertTakenOutOfService), "taken-out-of-service"),
        (typeof(AlertReturnedToService), "returned-to-service"),
        (typeof(AlertClosed), "closed"),
        (typeof(AlertSuppressed), "suppressed"),
        (typeof(AlertCauseEnded), "cause-ended"),
        (typeof(AlertReleased), "released"),
        (typeof(AlertTimerMoved), "timer-moved"),
        (typeof(AlertNotified), "notified"),
    ];

    private static readonly JsonSerializerOptions Options = new(JsonSerializerDefaults.Web)
    {
        Converters =
        {
            new JsonStringEnumConverter(JsonNamingPolicy.KebabCaseLower, allowIntegerValues: false),
            new IdConverter<SiteId>(text => new(text), id => id.Value),
            new IdConverter<UnitId>(text => new(text), id => id.Value),
            new IdConverter<DeviceId>(text => new(text), id => id.Value),
            new PhraseConverter(),
        },
        TypeInfoResolver = new DefaultJsonTypeInfoResolver { Modifiers = { NameEvents, LeaveOutDerived } },
    };

    public static string Write<T>(T value) => JsonSerializer.Serialize(value, Options);

    /// <exception cref="StoreException">The row was not written by this program.</exception>
    public static T Read<T>(string json)
    {
        try
        {
            return JsonSerializer.Deserialize<T>(json, Options) ?? throw new StoreException($"a stored {typeof(T).Name} is null");
        }
        catch (JsonException fault)
        {
            throw new StoreException($"a stored {typeof(T).Name} cannot be read: {Database.OneLine(fault)}", fault);
        }
    }

    public static string NameOf(AlertEvent happened) => Array.Find(Events, e => e.Type == happened.GetType()).Name;

    private static void NameEvents(JsonTypeInfo info)
    {
        if (info.Type != typeof(AlertEvent))
        {
            return;
        }

        info.PolymorphismOptions = new() { TypeDiscriminatorPropertyName = "type" };
        foreach (var (type, name) in Events)
        {
            info.PolymorphismOptions.DerivedTypes.Add(new(type, name));
        }
    }

    /// <summary>What follows from other members (<c>IsOpen</c>, <c>Duration</c>) is not stored: it could contradict them.</summary>
    private static void LeaveOutDerived(JsonTypeInfo info)
    {
        for (var i = info.Properties.Count - 1; i >= 0; i--)
        {
            if (info.Properties[i] is { Set: null, AttributeProvider: System.Reflection.PropertyInfo { CanWrite: false } })
            {
                info.Properties.RemoveAt(i);
            }
        }
    }

    private sealed class IdConverter<T>(Func<string, T> read, Func<T, string> write) : JsonConverter<T>
    {
        public override T Read(ref Utf8JsonReader reader, Type typeToConvert, JsonSerializerOptions options) =>
            read(reader.GetString() ?? throw new JsonException("an id is null"));

        public override void Write(Utf8JsonWriter writer, T value, JsonSerializerOptions options) => writer.WriteStringValue(write(value));
    }
}
