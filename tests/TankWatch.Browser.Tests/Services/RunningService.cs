using System.Diagnostics;
using System.Globalization;
using System.Net;
using System.Net.Http.Headers;
using System.Net.Sockets;
using System.Text;
using System.Text.Json;
using TankWatch.Service.Operation;

namespace TankWatch.Browser.Tests.Services;

/// <summary>The real program in a process of its own, on free ports of this machine, with a folder of its own.</summary>
public sealed class RunningService : IAsyncDisposable
{
    private readonly string folder = Directory.CreateTempSubdirectory("browser-tests-").FullName;
    private readonly HttpClient client = new();
    private Process? process;

    private RunningService()
    {
    }

    public string Url { get; private set; } = "";

    public int HttpPort { get; } = FreePort();

    public int MqttPort { get; } = FreePort();

    /// <summary>As <c>demo</c> runs it, with its month behind it.</summary>
    public static async Task<RunningService> DemoAsync()
    {
        var service = new RunningService();
        await service.StartAsync(
            "demo", "--port", Text(service.HttpPort), "--mqtt-port", Text(service.MqttPort), "--data", Path.Combine(service.folder, "data"), "--speed", "1");
        return service;
    }

    /// <summary>As <c>serve</c> runs it, with an empty store.</summary>
    public static async Task<RunningService> ServeAsync()
    {
        var service = new RunningService();
        await service.ServeAgainAsync();
        return service;
    }

    /// <summary>The same addresses, the same store.</summary>
    public Task ServeAgainAsync() => StartAsync("serve");

    /// <summary>Runs a command to its end.</summary>
    /// <returns>The last line that it wrote: a secret, if it made one.</returns>
    public async Task<string> RunAsync(params string[] arguments)
    {
        using var command = Begin(arguments);
        var (output, fault) = (command.StandardOutput.ReadToEndAsync(), command.StandardError.ReadToEndAsync());
        await command.WaitForExitAsync();
        return command.ExitCode == 0
            ? (await output).TrimEnd().Split('\n')[^1]
            : throw new InvalidOperationException($"{string.Join(' ', arguments)}: {await fault}");
    }

    /// <summary>SIGKILL: nothing is finished, nothing is said.</summary>
    public async Task KillAsync()
    {
        process!.Kill();
        await process.WaitForExitAsync();
        process.Dispose();
        process = null;
    }

    /// <param name="path">From the root on.</param>
    /// <param name="key">Null for a stranger, or in a demonstration.</param>
    public async Task<JsonElement> GetJsonAsync(string path, string? key = null)
    {
        using var response = await SendAsync(HttpMethod.Get, path, key);
        return JsonSerializer.Deserialize<JsonElement>(await response.Content.ReadAsStringAsync());
    }

    /// <summary>A site as its file says, through the API.</summary>
    public async Task PutSiteAsync(string id, string siteFile, string? key = null) =>
        (await SendAsync(HttpMethod.Put, $"/api/v1/sites/{id}", key, siteFile)).Dispose();

    /// <param name="path">From the root on.</param>
    /// <param name="key">As above.</param>
    public async Task DeleteAsync(string path, string key) => (await SendAsync(HttpMethod.Delete, path, key)).Dispose();

    /// <summary>Alerts, newest first.</summary>
    /// <param name="query">Such as <c>state=open</c>.</param>
    /// <param name="key">As above.</param>
    public async Task<IReadOnlyList<JsonElement>> AlertsAsync(string query, string? key = null) =>
        [.. (await GetJsonAsync($"/api/v1/alerts?{query}", key)).GetProperty("items").EnumerateArray()];

    private async Task<HttpResponseMessage> SendAsync(HttpMethod method, string path, string? key, string? body = null)
    {
        using var request = new HttpRequestMessage(method, Url + path);
        request.Headers.Authorization = key is null ? null : new AuthenticationHeaderValue("Bearer", key);
        request.Content = body is null ? null : new StringContent(body, Encoding.UTF8, "application/json");
        var response = await client.SendAsync(request);
        return response.IsSuccessStatusCode ? response
            : throw new HttpRequestException($"{method} {path}: {(int)response.StatusCode} {await response.Content.ReadAsStringAsync()}");
    }

    /// <summary>Whether a demonstration has sent any mail yet.</summary>
    public Task<bool> HasMailsAsync()
    {
        var mails = Path.Combine(folder, "data", "mail");
        return Task.FromResult(Directory.Exists(mails) && Directory.EnumerateFiles(mails, "*.eml").Any());
    }

    public async ValueTask DisposeAsync()
    {
        if (process is not null)
        {
            await KillAsync();
        }

        client.Dispose();
        Directory.Delete(folder, recursive: true);
    }

    /// <summary>Starts, and waits for the line that says it is ready.</summary>
    private async Task StartAsync(params string[] arguments)
    {
        process = Begin(arguments);
        var faults = new Queue<string?>();
        process.ErrorDataReceived += (_, line) => faults.Enqueue(line.Data);
        process.BeginErrorReadLine();
        while (await process.StandardOutput.ReadLineAsync() is { } line)
        {
            if (line.StartsWith("ready: ", StringComparison.Ordinal))
            {
                Url = line["ready: ".Length..];
                _ = process.StandardOutput.ReadToEndAsync(); // Or its log would fill the pipe and hold it up.
                return;
            }
        }

        throw new InvalidOperationException($"{arguments[0]} ended before it was ready: {string.Join('\n', faults)}");
    }

    private Process Begin(params string[] arguments)
    {
        var start = new ProcessStartInfo("dotnet", [typeof(ServiceShape).Assembly.Location, .. arguments])
        {
            WorkingDirectory = folder, RedirectStandardOutput = true, RedirectStandardError = true,
            Environment =
            {
                ["TANKWATCH_DATA__PATH"] = Path.Combine(folder, "data"),
                ["TANKWATCH_HTTP__URLS"] = $"http://127.0.0.1:{HttpPort}",
                ["TANKWATCH_MQTT__LISTENPORT"] = Text(MqttPort),
                ["TANKWATCH_WEBHOOKS__ALLOWHTTP"] = "true", // The push service of a test is on this machine.
                ["TANKWATCH_WEBHOOKS__ALLOWPRIVATETARGETS"] = "true",
            },
        };
        return Process.Start(start)!;
    }

    private static string Text(int number) => number.ToString(CultureInfo.InvariantCulture);

    /// <summary>Below those that the system gives to outgoing connections, of which a browser makes many: a restarted service must find its port free.</summary>
    private static int FreePort()
    {
        while (true)
        {
            var port = Random.Shared.Next(20_000, 30_000);
            try
            {
                using var listener = new TcpListener(IPAddress.Loopback, port);
                listener.Start();
                return port;
            }
            catch (SocketException)
            {
                // Somebody has it; the next one.
            }
        }
    }
}
