using Deque.AxeCore.Commons;
using Deque.AxeCore.Playwright;
using Microsoft.Playwright;
using Xunit;

namespace TankWatch.Browser.Tests.Accessibility;

/// <summary>What is wrong with a page as it stands, in lines that name the place.</summary>
internal static class Faults
{
    // Everything that axe does by itself, its best practices among it, and the size of targets, which it leaves to the asker (WCAG 2.2, 2.5.8).
    private static readonly AxeRunOptions Rules = new()
    {
        Rules = new Dictionary<string, RuleOptions> { ["target-size"] = new() { Enabled = true } },
    };

    public static async Task<IReadOnlyList<string>> AxeFaultsAsync(this IPage page)
    {
        var result = await page.RunAxe(Rules);
        Assert.NotEmpty(result.Passes); // Or it did not look.
        return [.. from fault in result.Violations
                   from node in fault.Nodes
                   select $"{fault.Id}: {fault.Help}: {node.Target}: {string.Join(" · ", node.Any.Concat(node.All).Select(check => check.Message))}"];
    }

    /// <summary>What does not fit: the page wider than its screen, or text cut off at an edge.</summary>
    /// <remarks>
    /// Left out: what is hidden from the eye on purpose, the strip's labels, which move under its frame, and the inside of the API's reference, which a
    /// library draws.
    /// </remarks>
    public static Task<string[]> FitFaultsAsync(this IPage page) => page.EvaluateAsync<string[]>(
        """
        () => {
          const root = document.documentElement, faults = [];
          const name = e => e.tagName.toLowerCase() + (e.id && '#' + e.id) + [...e.classList].map(c => '.' + c).join('') + ' "' + e.textContent.trim().slice(0, 40) + '"';
          const hidden = e => e && (e.matches('.skip, #reference') || getComputedStyle(e).clipPath !== 'none' || hidden(e.parentElement));
          const all = [...document.body.querySelectorAll('*')].filter(e => !hidden(e));
          if (root.scrollWidth > root.clientWidth) {
            const wide = all.filter(e => e.getBoundingClientRect().right > root.clientWidth + 1 || e.getBoundingClientRect().left < -1);
            faults.push(`the page is ${root.scrollWidth} wide on ${root.clientWidth}: ` + wide.slice(0, 5).map(name).join(', '));
          }
          for (const e of all) {
            if (!(e instanceof HTMLElement) || !e.textContent.trim()) continue;
            const { overflowX, overflowY } = getComputedStyle(e), cuts = o => o === 'hidden' || o === 'clip';
            if (cuts(overflowX) && e.scrollWidth > e.clientWidth || cuts(overflowY) && e.scrollHeight > e.clientHeight) faults.push('cut off: ' + name(e));
          }
          for (const text of all.filter(e => e.matches('svg text') && !e.closest('.moves'))) {
            const letters = text.getBoundingClientRect(), frame = text.ownerSVGElement.getBoundingClientRect();
            if (letters.width && (letters.left < frame.left - 1 || letters.right > frame.right + 1)) faults.push('cut off in its drawing: ' + name(text));
          }
          return faults;
        }
        """);
}
