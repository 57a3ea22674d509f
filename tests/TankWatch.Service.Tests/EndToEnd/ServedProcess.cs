using System.Diagnostics;
using System.Net.Http.Headers;
using System.Text.Json;
using TankWatch.Service.Commands;

namespace TankWatch.Service.Tests.EndToEnd;

/// <summary>The real program in a process of its own, which the test may kill as a power cut would.</summary>
internal sealed class ServedProcess(string folder, IReadOnlyDictionary<string, string> settings) : IDisposable
{
    private Process? process;
    private string lastSaid = "";

    public string Url { get; private set; } = "";

    /// <summary>Runs a command to its end.</summary>
    /// <returns>What it wrote to standard output.</returns>
    public async Task<string> RunAsync(params string[] arguments)
    {
        using var command = Begin(arguments);
        var output = await command.StandardOutput.ReadToEndAsync();
        var fault = await command.StandardError.ReadToEndAsync();
        await command.WaitForExitAsync();
        return command.ExitCode == 0 ? output : throw new InvalidOperationException($"{string.Join(' ', arguments)}: {fault}");
    }

    /// <summary>It was started and has not been killed.</summary>
    public bool Runs => process is not null;

    /// <summary>Of the process, for the system.</summary>
    public int Id => process!.Id;

    /// <summary>Starts <c>serve</c> and waits for its ready line.</summary>
    public Task ServeAsync()
    {
        Start();
        return OpenAsync();
    }

    /// <summary>Starts <c>serve</c> and waits for nothing.</summary>
    public void Start()
    {
        Url = "";
        process = Begin("serve");
        process.ErrorDataReceived += (_, said) => lastSaid = said.Data ?? lastSaid;
        process.BeginErrorReadLine();
    }

    /// <summary>Waits for the ready line.</summary>
    public async Task OpenAsync()
    {
        while (Url.Length == 0 && await process!.StandardOutput.ReadLineAsync() is { } line)
        {
            if (line.StartsWith("ready: ", StringComparison.Ordinal))
            {
                Url = line["ready: ".Length..];
            }
        }

        if (Url.Length == 0)
        {
            throw new InvalidOperationException($"serve ended before it was ready: {lastSaid}");
        }
    }

    /// <summary>Runs <c>serve</c> where it cannot start.</summary>
    /// <returns>Its exit code, and all that it said to standard error.</returns>
    public async Task<(int Code, string Said)> FailToServeAsync()
    {
        process = Begin("serve");
        using var patience = new CancellationTokenSource(TimeSpan.FromSeconds(30)); // If it starts after all, it would stay for ever.
        var said = await process.StandardError.ReadToEndAsync(patience.Token);
        await process.WaitForExitAsync(patience.Token);
        return (process.ExitCode, said);
    }

    /// <summary>Processor time used since its start, and memory now.</summary>
    public (TimeSpan Processor, long ResidentBytes) Use
    {
        get
        {
            process!.Refresh();
            return (process.TotalProcessorTime, process.WorkingSet64);
        }
    }

    /// <summary>SIGKILL: nothing is finished, nothing is said.</summary>
    public async Task KillAsync()
    {
        process!.Kill();
        await process.WaitForExitAsync();
        process.Dispose();
        process = null;
    }

    /// <summary>What of its memory is in the machine's.</summary>
    public long ResidentBytes()
    {
        process!.Refresh();
        return process.WorkingSet64;
    }

    public async Task<JsonElement> GetAsync(string path, string key)
    {
        using var client = new HttpClient();
        client.DefaultRequestHeaders.Authorization = new AuthenticationHeaderValue("Bearer", key);
        return (await JsonDocument.ParseAsync(await client.GetStreamAsync(Url + path))).RootElement.Clone();
    }

    /// <returns>What <c>/health/ready</c> says; empty while nobody answers.</returns>
    public async Task<(bool Ready, string Said)> HealthAsync()
    {
        using var client = new HttpClient { Timeout = TimeSpan.FromSeconds(5) };
        try
        {
            using var answer = await client.GetAsync(new Uri(Url + "/health/ready"));
            return (answer.IsSuccessStatusCode, await answer.Content.ReadAsStringAsync());
        }
        catch (Exception fault) when (fault is HttpRequestException or TaskCanceledException)
        {
            return (false, "");
        }
    }

    private Process Begin(params string[] arguments)
    {
        var start = new ProcessStartInfo("dotnet", [typeof(CommandLine).Assembly.Location, .. arguments])
        {
            WorkingDirectory = folder, RedirectStandardOutput = true, RedirectStandardError = true,
        };
        foreach (var ours in start.Environment.Keys.Where(name => name.StartsWith("TANKWATCH_", StringComparison.OrdinalIgnoreCase)).ToList())
        {
            start.Environment.Remove(ours); // Numbers for the tests, which serve would take for misspelt settings.
        }

        foreach (var (name, value) in settings)
        {
            start.Environment[name] = value;
        }

        return Process.Start(start)!;
    }

    public void Dispose()
    {
        if (process is { HasExited: false })
        {
            process.Kill();
        }

        process?.Dispose();
    }
}
