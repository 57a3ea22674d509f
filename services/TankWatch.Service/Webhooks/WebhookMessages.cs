using System.Security.Cryptography;
using System.Text;
using System.Text.Json;
using Microsoft.Extensions.Options;
using TankWatch.Service.Api.Contract;
using TankWatch.Service.Storage;
using JsonOptions = Microsoft.AspNetCore.Http.Json.JsonOptions;

namespace TankWatch.Service.Webhooks;

/// <summary>What a target is sent.</summary>
/// <param name="Id">The <c>webhook-id</c>, by which the receiver knows a repeat.</param>
/// <param name="Type">Such as <c>alert.raised</c>.</param>
/// <param name="Body">JSON.</param>
internal sealed record WebhookMessage(string Id, string Type, byte[] Body);

/// <summary>Writes events as the API writes them.</summary>
internal sealed class WebhookMessages(IOptions<JsonOptions> json)
{
    public WebhookMessage Of(Webhook hook, LoggedAlertEvent logged)
    {
        var type = $"alert.{logged.Happened.Type}";
        var data = new AlertHappenedJson(AlertEventJson.Of(logged.Happened), AlertJson.Of(logged.Alert));
        return new(IdOf($"{hook.Id} {logged.Alert.Id} {logged.Number}"), type, Body(type, logged.Happened.At, data));
    }

    public WebhookMessage Ping(Webhook hook, DateTimeOffset now) =>
        new(IdOf($"{hook.Id} ping {now.UtcTicks}"), "test.ping", Body("test.ping", now, new PingJson(hook.Id)));

    /// <summary>Made from what the message is about and from nothing else, so that it is the same in each try and after a restart.</summary>
    private static string IdOf(string about) => "msg_" + Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(about)).AsSpan(0, 16));

    private byte[] Body<T>(string type, DateTimeOffset at, T data) =>
        JsonSerializer.SerializeToUtf8Bytes(new WebhookMessageJson<T>(type, at, data), json.Value.SerializerOptions);
}
