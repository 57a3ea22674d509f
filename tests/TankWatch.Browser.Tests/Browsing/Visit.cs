using System.Collections.Concurrent;
using Microsoft.Playwright;
using Xunit;

namespace TankWatch.Browser.Tests.Browsing;

/// <summary>One visit: a tab with a profile of its own, and whatever it complained of.</summary>
public sealed class Visit
{
    private readonly Look look;
    private readonly ConcurrentQueue<string> complaints = new();

    private Visit(IPage page, Look look) => (Page, this.look) = (page, look);

    public IPage Page { get; }

    /// <summary>Errors on the console, errors of scripts, and what the content security policy stopped.</summary>
    public IReadOnlyCollection<string> Complaints => complaints;

    internal static async Task<Visit> BeginAsync(IBrowserContext context, Look look)
    {
        if (look.Script)
        {
            await context.AddInitScriptAsync(
                "addEventListener('securitypolicyviolation', e => console.error('policy: ' + e.violatedDirective + ' ' + e.blockedURI + ' ' + e.sourceFile))");
        }

        var visit = new Visit(await context.NewPageAsync(), look);
        visit.Page.Console += (_, message) =>
        {
            if (message.Type is "error" or "warning")
            {
                visit.Note($"{message.Type}: {message.Text} ({message.Location})");
            }
        };
        visit.Page.PageError += (_, error) => visit.Note($"script: {error}");
        return visit;
    }

    /// <param name="address">Turned round if this is a look from right to left.</param>
    public async Task OpenAsync(string address)
    {
        var turned = look.RightToLeft ? address + (address.Contains('?', StringComparison.Ordinal) ? '&' : '?') + "dir=rtl" : address;
        var answer = await Page.GotoAsync(turned);
        Assert.True(answer?.Status == look.Status, $"{turned} answered {answer?.Status}, not {look.Status}");
        await Page.Locator("h1").First.WaitForAsync(); // The API's reference is drawn by script, and for a moment it is an outline of itself.
    }

    /// <summary>Looks at the same page anew, in other light or on another screen.</summary>
    public async Task LookAsync(Look again)
    {
        await Page.EmulateMediaAsync(new() { ColorScheme = again.Scheme });
        await Page.SetViewportSizeAsync(again.Width, again.Height);
    }

    private void Note(string complaint)
    {
        if (!look.Expected(complaint) && !(look.Status >= 400 && Network.IsStatus(complaint)))
        {
            complaints.Enqueue(complaint);
        }
    }
}
