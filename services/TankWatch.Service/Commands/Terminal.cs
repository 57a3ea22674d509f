using Spectre.Console;

namespace TankWatch.Service.Commands;

/// <summary>The exit codes that scripts rely on.</summary>
public static class ExitCode
{
    public const int Success = 0;

    /// <summary>The input was right and the work failed.</summary>
    public const int Failure = 1;

    /// <summary>The command line, a file or a setting is wrong.</summary>
    public const int BadInput = 2;
}

/// <summary>What a command was given to talk with: results go to <see cref="Out"/>, everything for people to <see cref="Error"/>.</summary>
/// <param name="Out">Results only, so that they can be piped.</param>
/// <param name="Error">Faults, warnings and progress.</param>
/// <param name="Watched">A person watches <see cref="Error"/> on a terminal: progress may be drawn.</param>
public sealed record Terminal(TextWriter Out, TextWriter Error, bool Watched)
{
    public static Terminal OfProcess() => new(Console.Out, Console.Error, !Console.IsErrorRedirected);

    /// <summary>One line on standard error; what came from outside cannot break it or colour it.</summary>
    public void Tell(string line) => Error.WriteLine(OneLine(line));

    /// <summary>One line on standard error, and the exit code for bad input.</summary>
    public int Refuse(string line)
    {
        Tell(line);
        return ExitCode.BadInput;
    }

    /// <summary>One line on standard error, and the exit code for failed work.</summary>
    public int Fail(string line)
    {
        Tell(line);
        return ExitCode.Failure;
    }

    /// <summary>Shows a bar while the work goes on, if a person watches.</summary>
    /// <param name="title">What goes on.</param>
    /// <param name="work">Reports the done share, 0 to 1.</param>
    public async Task<T> WithProgressAsync<T>(string title, Func<Action<double>, Task<T>> work)
    {
        if (!Watched)
        {
            return await work(_ => { });
        }

        var console = AnsiConsole.Create(new AnsiConsoleSettings { Out = new AnsiConsoleOutput(Error) });
        return await console.Progress().AutoClear(true).StartAsync(context =>
        {
            var bar = context.AddTask(Markup.Escape(title));
            return work(done => bar.Value = done * bar.MaxValue);
        });
    }

    internal static string OneLine(string text) => string.Concat(text.Select(c => char.IsControl(c) ? ' ' : c)).Trim();
}
