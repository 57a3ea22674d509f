using System.Collections.Frozen;
using System.IO.Compression;
using System.Security.Cryptography;
using Microsoft.Net.Http.Headers;
using TankWatch.Service.Operation;

namespace TankWatch.Service.Pages;

/// <summary>
/// Styles, scripts and fonts, built into the program. Styles and scripts are joined in the order of their names, and compressed once.
/// Their addresses carry the hash of all of them: a browser keeps them for ever and asks anew after an upgrade.
/// </summary>
internal static class PageAssets
{
    private const string Prefix = "assets/";

    private static readonly FrozenDictionary<string, Asset> All = Load();

    /// <summary>Changes when any asset does; an open page that sees another one loads itself anew.</summary>
    public static string Version { get; } = Convert.ToHexStringLower(SHA256.HashData(
        [.. All.OrderBy(asset => asset.Key, StringComparer.Ordinal).SelectMany(asset => SHA256.HashData(asset.Value.Plain))]))[..12];

    public static string Address(string name) => $"/assets/{Version}/{name}";

    public static void MapAssets(this IEndpointRouteBuilder routes)
    {
        routes.MapGet("/assets/{version}/{**name}", Send).WithHead();
        routes.MapGet("/sw.js", (HttpContext context) => Send("", "sw.js", context)).WithHead(); // Its address is how far its power reaches.
    }

    private static IResult Send(string version, string? name, HttpContext context)
    {
        if (!All.TryGetValue(name ?? "", out var asset))
        {
            return TypedResults.NotFound();
        }

        // An address of another version still answers, from a page that an upgrade overtook, but is not kept.
        context.Response.Headers.CacheControl = version == Version ? "public, max-age=31536000, immutable" : "no-cache";
        context.Response.Headers.Vary = HeaderNames.AcceptEncoding;
        if (asset.Brotli is { } small && context.Request.GetTypedHeaders().AcceptEncoding.Any(e => e.Value == "br" && e.Quality is not 0))
        {
            context.Response.Headers.ContentEncoding = "br";
            return TypedResults.Bytes(small, asset.MediaType);
        }

        return TypedResults.Bytes(asset.Plain, asset.MediaType);
    }

    private static FrozenDictionary<string, Asset> Load()
    {
        var names = typeof(PageAssets).Assembly.GetManifestResourceNames().Where(name => name.StartsWith(Prefix, StringComparison.Ordinal)).Order(StringComparer.Ordinal).ToList();
        var assets = names.Where(name => name.EndsWith(".woff2", StringComparison.Ordinal))
            .ToDictionary(name => name[Prefix.Length..], name => new Asset("font/woff2", Read(name), null));
        assets["icon.svg"] = new("image/svg+xml", Read(Prefix + "icon.svg"), null);
        assets["sw.js"] = new("text/javascript; charset=utf-8", Read(Prefix + "sw.js"), null);
        assets["manifest.json"] = new("application/manifest+json", Read(Prefix + "manifest.json"), null);
        assets["notifications.js"] = new("text/javascript; charset=utf-8", Read(Prefix + "notifications.js"), null);
        assets["reference.js"] = new("text/javascript; charset=utf-8", Read(Prefix + "reference.js"), null);
        assets["style.css"] = Joined("text/css; charset=utf-8", "styles/");
        assets["page.js"] = Joined("text/javascript; charset=utf-8", "scripts/");
        return assets.ToFrozenDictionary(StringComparer.Ordinal);

        Asset Joined(string mediaType, string folder)
        {
            byte[] plain = [.. names.Where(name => name.StartsWith(Prefix + folder, StringComparison.Ordinal)).SelectMany(name => (byte[])[.. Read(name), (byte)'\n'])];
            return new(mediaType, plain, Compressed(plain));
        }
    }

    private static byte[] Read(string name)
    {
        using var stream = typeof(PageAssets).Assembly.GetManifestResourceStream(name)!;
        using var copy = new MemoryStream();
        stream.CopyTo(copy);
        return copy.ToArray();
    }

    private static byte[] Compressed(byte[] plain)
    {
        using var target = new MemoryStream();
        using (var brotli = new BrotliStream(target, CompressionLevel.SmallestSize))
        {
            brotli.Write(plain);
        }

        return target.ToArray();
    }

    /// <param name="MediaType">As sent.</param>
    /// <param name="Plain">As it is.</param>
    /// <param name="Brotli">Null for what is compressed already.</param>
    private sealed record Asset(string MediaType, byte[] Plain, byte[]? Brotli);
}
