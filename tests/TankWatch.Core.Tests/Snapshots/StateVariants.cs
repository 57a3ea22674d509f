using System.Collections;
using System.Collections.Immutable;
using System.Globalization;
using System.Reflection;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Tests.Snapshots;

/// <summary>Makes of a state every other that differs in one place: whatever member a type of the state has, it is found here by itself.</summary>
internal sealed class StateVariants(SitePlan plan)
{
    /// <summary>Type and member of every place that was varied so far.</summary>
    public HashSet<string> Varied { get; } = new(StringComparer.Ordinal);

    /// <summary>Every member that a state has anywhere, as its types declare them.</summary>
    public static HashSet<string> Declared()
    {
        var (found, seen, open) = (new HashSet<string>(StringComparer.Ordinal), new HashSet<Type>(), new Queue<Type>([typeof(SiteState)]));
        while (open.TryDequeue(out var type))
        {
            if (!seen.Add(type))
            {
                continue;
            }

            foreach (var kind in type.IsAbstract ? type.Assembly.GetTypes().Where(t => t.IsSubclassOf(type)) : [type])
            {
                foreach (var member in Members(kind))
                {
                    found.Add(Name(kind, member));
                    var held = ItemOf(member.PropertyType) ?? Nullable.GetUnderlyingType(member.PropertyType) ?? member.PropertyType;
                    held = Nullable.GetUnderlyingType(held) ?? held;
                    if (!IsLeaf(held))
                    {
                        open.Enqueue(held);
                    }
                }
            }
        }

        return found;
    }

    public IEnumerable<SiteState> Of(SiteState state) => Variants(state, typeof(SiteState)).Cast<SiteState>();

    private IEnumerable<object?> Variants(object? value, Type declared)
    {
        if (Nullable.GetUnderlyingType(declared) is { } underlying)
        {
            return value is null ? IsLeaf(underlying) ? [Other(Activator.CreateInstance(underlying)!)] : [] : Variants(value, underlying).Append(null);
        }

        return value is null ? [] : IsLeaf(declared) ? [Other(value)] : ItemOf(declared) is { } item ? OfList((IList)value, item) : OfRecord(value);
    }

    private IEnumerable<object> OfRecord(object record)
    {
        var type = record.GetType();
        foreach (var member in Members(type))
        {
            foreach (var variant in Variants(member.GetValue(record), member.PropertyType))
            {
                Varied.Add(Name(type, member));
                var copy = type.GetMethod("<Clone>$") is { } clone ? clone.Invoke(record, null)! : Copied(record);
                member.SetValue(copy, variant);
                yield return copy;
            }
        }
    }

    private IEnumerable<object> OfList(IList items, Type item)
    {
        for (var i = 0; i < items.Count; i++)
        {
            foreach (var variant in Variants(items[i], item))
            {
                yield return ListOf(item, items.Cast<object?>().Select((o, at) => at == i ? variant : o));
            }
        }

        if (items.Count > 0)
        {
            yield return ListOf(item, items.Cast<object?>().Skip(1));
        }
    }

    private static object ListOf(Type item, IEnumerable<object?> items)
    {
        var all = items.ToList();
        var array = Array.CreateInstance(item, all.Count);
        for (var i = 0; i < all.Count; i++)
        {
            array.SetValue(all[i], i);
        }

        return typeof(ImmutableArray).GetMethods().Single(m => m is { Name: "Create", IsGenericMethod: true } && m.GetParameters() is [{ ParameterType.IsArray: true }])
            .MakeGenericMethod(item).Invoke(null, [array])!;
    }

    private object Other(object leaf) => leaf switch
    {
        bool flag => !flag,
        int number => number + 1,
        long number => number + 1,
        float number => number + 1,
        double number => number + 1,
        string text => text + "'",
        DateTimeOffset at => at.AddTicks(1),
        DateOnly date => date.AddDays(1),
        Enum name => Enum.ToObject(name.GetType(), (Convert.ToInt32(name, CultureInfo.InvariantCulture) + 1) % Enum.GetValues(name.GetType()).Length),
        UnitId unit => plan.Units.First(u => u.Id != unit).Id,
        DeviceId device => plan.Tanks.First(t => t.Id != device).Id,
        _ => throw new InvalidOperationException($"no other value of {leaf.GetType().Name} is known"),
    };

    private static bool IsLeaf(Type type) =>
        type.IsPrimitive || type.IsEnum || type == typeof(string) || type == typeof(DateTimeOffset) || type == typeof(DateOnly)
        || type == typeof(UnitId) || type == typeof(DeviceId);

    private static Type? ItemOf(Type type) =>
        type.IsGenericType && type.GetGenericTypeDefinition() == typeof(ImmutableArray<>) ? type.GetGenericArguments()[0] : null;

    private static IEnumerable<PropertyInfo> Members(Type type) =>
        type.GetProperties(BindingFlags.Public | BindingFlags.Instance).Where(p => p.CanWrite && p.GetIndexParameters().Length == 0);

    private static string Name(Type type, PropertyInfo member) => $"{type.Name}.{member.Name}";

    // A boxed struct is changed in its box, so it takes a box of its own.
    private static object Copied(object boxed) => typeof(object).GetMethod("MemberwiseClone", BindingFlags.NonPublic | BindingFlags.Instance)!.Invoke(boxed, null)!;
}
