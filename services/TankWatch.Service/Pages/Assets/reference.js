"use strict";
// Nothing of it asks anywhere but here: no fonts, no telemetry, no assistants. Its colours are those of the other pages: ink on paper.
const inks = (ink, quiet, paper, second, rule) => `
  --scalar-color-1: ${ink}; --scalar-color-2: ${ink}; --scalar-color-3: ${quiet}; --scalar-color-accent: ${ink}; --scalar-border-color: ${rule};
  --scalar-background-1: ${paper}; --scalar-background-2: ${second}; --scalar-background-3: ${second}; --scalar-background-accent: ${second};
  --scalar-color-green: ${ink}; --scalar-color-red: ${ink}; --scalar-color-yellow: ${ink}; --scalar-color-blue: ${ink}; --scalar-color-orange: ${ink};
  --scalar-color-purple: ${ink}; --scalar-sidebar-color-1: ${ink}; --scalar-sidebar-color-2: ${ink}; --scalar-sidebar-search-color: ${quiet};`;
Scalar.createApiReference("#reference", {
  url: "/openapi/v1.json", withDefaultFonts: false, telemetry: false, agent: { disabled: true }, mcp: { disabled: true },
  showDeveloperTools: "never", hideClientButton: true, theme: "none",
  customCss: `.back { padding: .5rem 1rem; } .back a { color: var(--scalar-color-1); } .light-mode {${inks("#15201d", "#4a5854", "#f5f7f3", "#eaeee9", "#c9d2ce")}} .dark-mode {${inks("#e4ebe8", "#a3b1ac", "#101715", "#1a2320", "#33403c")}}
    #reference * { --scalar-color-3: var(--scalar-color-2); } #reference [class*=hljs-] { color: inherit; } #reference { overflow-x: clip; } .section-flare { display: none; }`,
});
