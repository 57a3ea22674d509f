namespace TankWatch.Service.Pages;

/// <summary>Plain text on a plain ground; the system's own letters and colours, light or dark as the reader has it.</summary>
internal static class PageStyle
{
    public const string Css =
        """
        :root { color-scheme: light dark; }
        body { margin: 0; background: Canvas; color: CanvasText; font: 1.0625rem/1.55 system-ui, sans-serif; overflow-wrap: anywhere; }
        main { max-width: 44rem; margin: 0 auto; padding: 1rem 1rem 4rem; }
        h1 { font-size: 1.6rem; line-height: 1.2; margin: 1rem 0 .5rem; }
        h2 { font-size: 1.25rem; line-height: 1.3; margin: 0 0 .5rem; }
        h3 { font-size: 1.0625rem; line-height: 1.4; margin: 0 0 .25rem; }
        p, ul { margin: 0 0 .5rem; }
        ul { padding-left: 1.25rem; }
        .quiet { color: light-dark(#555, #b0b0b0); font-size: .9375rem; }
        article { border-top: 1px solid light-dark(#ccc, #444); padding: 1.25rem 0 .75rem; }
        section { border-left: 2px solid light-dark(#888, #888); padding: 0 0 0 .9rem; margin: 1rem 0; }
        section.high, section.critical { border-left-width: 6px; border-left-color: CanvasText; }
        input, button { font: inherit; min-height: 2.75rem; box-sizing: border-box; }
        input { display: block; width: 100%; max-width: 28rem; padding: .3rem .5rem; margin: .25rem 0 .5rem; }
        button { padding: .3rem 1rem; }
        details { border-top: 1px solid light-dark(#ccc, #444); padding: .5rem 0; }
        summary { cursor: pointer; }
        pre { white-space: pre-wrap; font: inherit; margin: .75rem 0; }
        :focus-visible { outline: 3px solid Highlight; outline-offset: 2px; }
        """;
}
