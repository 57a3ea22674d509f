using TankWatch.Service.Commands;
using Xunit;

namespace TankWatch.Service.Tests.Commands;

/// <summary>Runs commands in this process, with a folder for their files.</summary>
internal sealed class Shell : IDisposable
{
    public string Folder { get; } = Directory.CreateTempSubdirectory("commands-").FullName;

    public string Data => Path.Combine(Folder, "data");

    public static async Task<Ran> RunAsync(params string[] args)
    {
        using var output = new StringWriter { NewLine = "\n" };
        using var error = new StringWriter { NewLine = "\n" };
        var exit = await CommandLine.RunAsync(args, new Terminal(output, error, Watched: false));
        return new(exit, output.ToString(), error.ToString());
    }

    /// <summary>On this shell's own store.</summary>
    public Task<Ran> OnStoreAsync(params string[] args) => RunAsync([.. args, "--data", Data]);

    /// <returns>The file's name.</returns>
    public string Write(string name, string text)
    {
        var path = Path.Combine(Folder, name);
        File.WriteAllText(path, text);
        return path;
    }

    public void Dispose() => Directory.Delete(Folder, recursive: true);
}

/// <summary>How a command ended and what it said.</summary>
internal sealed record Ran(int Exit, string Out, string Error)
{
    public string[] OutLines => Lines(Out);
    public string[] ErrorLines => Lines(Error);

    public Ran Succeeded()
    {
        Assert.Equal((0, ""), (Exit, Error));
        return this;
    }

    /// <summary>Fails unless the command ended with 2, one line on standard error, and nothing on standard output.</summary>
    /// <param name="says">What the line must name.</param>
    public void RefusedInOneLine(params string[] says)
    {
        Assert.Equal((2, ""), (Exit, Out));
        var line = Assert.Single(ErrorLines);
        Assert.All(says, word => Assert.Contains(word, line, StringComparison.Ordinal));
        Assert.DoesNotContain("   at ", line, StringComparison.Ordinal);
        Assert.DoesNotContain("Exception", line, StringComparison.Ordinal);
    }

    private static string[] Lines(string text) => text.Split('\n', StringSplitOptions.RemoveEmptyEntries);
}
