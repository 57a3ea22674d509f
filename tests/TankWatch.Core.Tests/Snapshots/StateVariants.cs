using System.Collections;
using System.Collections.Immutable;
using System.Globalization;
using System.Reflection;
using System.Runtime.CompilerServices;
using TankWatch.Core.Balance;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;

namespace TankWatch.Core.Tests.Snapshots;

/// <summary>Makes of a state every other that differs in one place: whatever member a type of the state has, it is found here by itself.</summary>
internal sealed class StateVariants(SitePlan plan)
{
    /// <summary>Type and member of every place that was varied so far.</summary>
    public HashSet<string> Varied { get; } = new(StringComparer.Ordinal);

    /// <summary>Where the newest variant differs.</summary>
    public string Place { get; private set; } = "";

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
                    var held = ItemOf(member.Type) ?? Nullable.GetUnderlyingType(member.Type) ?? member.Type;
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
            foreach (var variant in Variants(member.Get(record), member.Type))
            {
                Varied.Add(Name(type, member));
                Place = IsLeaf(Nullable.GetUnderlyingType(member.Type) ?? member.Type) ? Name(type, member) : $"{Name(type, member)}/{Place}";
                var copy = type.GetMethod("<Clone>$") is { } clone ? clone.Invoke(record, null)! : Copied(record);
                member.Set(copy, variant);
                yield return copy;
            }
        }
    }

    private IEnumerable<object> OfList(IList items, Type item)
    {
        // Rows of numbers are long and written in one piece: their ends tell whether all is there.
        var isRow = items is Array;
        for (var i = 0; i < items.Count; i += isRow ? Math.Max(1, items.Count - 1) : 1)
        {
            foreach (var variant in Variants(items[i], item))
            {
                yield return ListOf(item, items.Cast<object?>().Select((o, at) => at == i ? variant : o), isRow);
            }
        }

        if (items.Count > 0)
        {
            yield return ListOf(item, items.Cast<object?>().Skip(1), isRow);
        }
    }

    private static object ListOf(Type item, IEnumerable<object?> items, bool isRow)
    {
        var all = items.ToList();
        var array = Array.CreateInstance(item, all.Count);
        for (var i = 0; i < all.Count; i++)
        {
            array.SetValue(all[i], i);
        }

        return isRow ? array : typeof(ImmutableArray).GetMethods().Single(m => m is { Name: "Create", IsGenericMethod: true } && m.GetParameters() is [{ ParameterType.IsArray: true }])
            .MakeGenericMethod(item).Invoke(null, [array])!;
    }

    private object Other(object leaf) => leaf switch
    {
        bool flag => !flag,
        int number => number + 1,
        byte number => (byte)(number ^ 1),
        short number => (short)(number - 1),
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
        type.IsArray ? type.GetElementType()
            : type.IsGenericType && type.GetGenericTypeDefinition() == typeof(ImmutableArray<>) ? type.GetGenericArguments()[0] : null;

    /// <summary>Whatever can be set, seen from outside or not: a member that only the judgement sees is as much of a state as any.</summary>
    private static IEnumerable<Member> Members(Type type)
    {
        const BindingFlags Any = BindingFlags.Public | BindingFlags.NonPublic | BindingFlags.Instance;
        var properties = type.GetProperties(Any).Where(p => p.CanWrite && p.GetIndexParameters().Length == 0)
            .Select(p => new Member(p.Name, p.PropertyType, p.GetValue, p.SetValue));
        var fields = type.GetFields(Any).Where(f => !f.IsDefined(typeof(CompilerGeneratedAttribute)) && !IsDerived(type, f))
            .Select(f => new Member(f.Name, f.FieldType, f.GetValue, f.SetValue));
        return type == typeof(Onset) ? fields.Concat(NumbersOfAnOnset) : properties.Concat(fields);
    }

    /// <summary>Onsets share their arrays: what is one's own is a part of them.</summary>
    private static readonly Member[] NumbersOfAnOnset =
    [
        new(nameof(Onset.Packed), typeof(short[]), o => ((Onset)o).Packed.ToArray(), static (o, value) => Alone(o, (short[])value!, ((Onset)o).Sums.ToArray())),
        new(nameof(Onset.Sums), typeof(float[]), o => ((Onset)o).Sums.ToArray(), static (o, value) => Alone(o, ((Onset)o).Packed.ToArray(), (float[])value!)),
    ];

    private static void Alone(object boxed, short[] packed, float[] sums)
    {
        var onset = (Onset)boxed;

        // One number less is all numbers one place farther on.
        Array.Resize(ref packed, onset.Packed.Length + Lanes.Padded(1));
        Array.Resize(ref sums, onset.Sums.Length);
        foreach (var (field, value) in new (string, object)[] { ("packed", packed), ("sums", sums), ("index", 0) })
        {
            typeof(Onset).GetField(field, BindingFlags.NonPublic | BindingFlags.Instance)!.SetValue(boxed, value);
        }
    }

    /// <summary>Reckoned from the others when it is made.</summary>
    private static bool IsDerived(Type type, FieldInfo field) => (type.Name, field.Name) is
        (nameof(BalanceFilter), nameof(BalanceFilter.Count)) or (nameof(Onset), "count" or "index" or "packed" or "sums") or (nameof(Sample), "median");

    private static string Name(Type type, Member member) => $"{type.Name}.{member.Name}";

    private sealed record Member(string Name, Type Type, Func<object, object?> Get, Action<object, object?> Set);

    // A boxed struct is changed in its box, so it takes a box of its own.
    private static object Copied(object boxed) => typeof(object).GetMethod("MemberwiseClone", BindingFlags.NonPublic | BindingFlags.Instance)!.Invoke(boxed, null)!;
}
