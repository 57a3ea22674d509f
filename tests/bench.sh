#!/usr/bin/env bash
# Measures ingest with real processes and writes the section "Ingest" of docs/performance.md: the explicit tests Figures.IngestFigures of the
# service tests. It takes about half an hour, wants the machine for itself, and needs mosquitto and mosquitto_sub.
#   bash tests/bench.sh            all figures, written down
#   bash tests/bench.sh Drain      those whose name holds the word, shown only
# BENCH_RUNS (5): how often each is measured; the median counts. BENCH_STALL_MINUTES (10): for how long the store is stalled.
set -eu
cd "$(dirname "$0")/.."
export DOTNET_NOLOGO=1 DOTNET_CLI_TELEMETRY_OPTOUT=1 BENCH_RUNS=${BENCH_RUNS:-5} BENCH_STALL_MINUTES=${BENCH_STALL_MINUTES:-10}

# In which order they stand, and the names by which they are repeated.
figures=(Durable_rate_and_processor_time Drain_of_a_queued_session Publish_to_acknowledgement Rate_of_the_embedded_broker Store_stalled)
command -v mosquitto_sub >/dev/null || { echo "mosquitto_sub is not installed (Debian: mosquitto-clients)"; exit 1; }
dotnet build tests/TankWatch.Service.Tests -c Release -v quiet
rows=$(mktemp)
section=$(mktemp)
trap 'rm -f "$rows" "$section"' EXIT
for figure in "${figures[@]}"; do
  [[ $figure == *"${1:-}"* ]] || continue
  FIGURES_FILE=$rows dotnet run --project tests/TankWatch.Service.Tests -c Release --no-build -- \
    -noColor -explicit only -method "*.IngestFigures.$figure" || echo "| $figure | not measured | | **missed** |" >> "$rows"
done

cat > "$section" <<END
## Ingest

Measured by \`bash tests/bench.sh\` on $(date -u +%F), commit \`$(git rev-parse --short HEAD 2>/dev/null || echo unknown)\`, with publisher, broker and service on one machine:
$(nproc) processors ($(sed -n 's/^model name[[:space:]]*: //p' /proc/cpuinfo | head -1)), mosquitto $(mosquitto_sub --help | grep -oE 'version [0-9.]+' | head -1 | grep -oE '[0-9.]+'), .NET $(dotnet --list-runtimes | sed -n 's/^Microsoft.NETCore.App \([0-9.]*\).*/\1/p' | tail -1). Medians of $BENCH_RUNS runs.

| what | measured | aim | |
| --- | --- | --- | --- |
$(cat "$rows")

The service is \`tankwatch serve\` with the site files of \`tankwatch load\`, its rules running; mosquitto has \`deploy/mosquitto\`'s configuration; each peer
has the same broker and publisher in the same run, and each figure comes after a shorter run that does not count. Stored is what the service counts as
accepted after its commit. To repeat one line: \`bash tests/bench.sh NAME\`, with NAME one of $(printf '`%s`, ' "${figures[@]}" | sed 's/, $//').
END
cat "$section"
[ $# -gt 0 ] || bash tests/section.sh ingest "$section"
