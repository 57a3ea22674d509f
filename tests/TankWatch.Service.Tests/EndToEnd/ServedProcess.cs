using System.Diagnostics;
using System.Net.Http.Headers;
using System.Text.Json;
using TankWatch.Service.Commands;

namespace TankWatch.Service.Tests.EndToEnd;

/// <summary>The real program in a process of its own, which the test may kill as a power cut would.</summary>
internal sealed class ServedProcess(string folder, IReadOnlyDictionary<string, string> settings) : IDisposable
{
    private Process? process;

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

    /// <summary>Starts <c>serve</c> and waits for its ready line.</summary>
    public async Task ServeAsync()
    {
        process = Begin("serve");
        process.ErrorDataReceived += (_, _) => { };
        process.BeginErrorReadLine();
        while (await process.StandardOutput.ReadLineAsync() is { } line)
        {
            if (line.StartsWith("ready: ", StringComparison.Ordinal))
            {
                Url = line["ready: ".Length..];
                return;
            }
        }

        throw new InvalidOperationException("serve ended before it was ready");
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

    private Process Begin(params string[] arguments)
    {
        var start = new ProcessStartInfo("dotnet", [typeof(CommandLine).Assembly.Location, .. arguments])
        {
            WorkingDirectory = folder, RedirectStandardOutput = true, RedirectStandardError = true,
        };
        foreach (var (name, value) in settings)
        {
            start.Environment[name] = value;
        }

        return Process.Start(start)!;
    }

    public void Dispose()
    {
        process?.Kill();
        process?.Dispose();
    }
}
