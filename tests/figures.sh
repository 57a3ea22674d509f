#!/usr/bin/env bash
# Measures what the pages cost and writes their section of docs/performance.md: the explicit test Figures.Performance of the browser tests.
# It takes some minutes and wants the machine for itself. It needs Chromium.
set -eu
cd "$(dirname "$0")/.."
export DOTNET_NOLOGO=1 DOTNET_CLI_TELEMETRY_OPTOUT=1

dotnet build tests/TankWatch.Browser.Tests -c Release -v quiet
section=$(mktemp)
trap 'rm -f "$section"' EXIT
FIGURES_COMMIT=$(git rev-parse --short HEAD 2>/dev/null || echo unknown) FIGURES_FILE=$section \
  dotnet run --project tests/TankWatch.Browser.Tests -c Release --no-build -- -noColor -explicit only -class '*.Figures.Performance'
cat "$section"
bash tests/section.sh pages "$section"
