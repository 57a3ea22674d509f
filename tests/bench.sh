#!/usr/bin/env bash
# Measures ingest and the store with real processes, replay and webhooks, and writes their sections of docs/performance.md: the explicit tests
# of IngestFigures, StoreFigures, ReplayFigures and WebhookFigures. It takes about 45 minutes, wants the machine for itself, 5 GB of disk, mosquitto and mosquitto_sub.
#   bash tests/bench.sh            all figures, written down
#   bash tests/bench.sh Ingest     those whose name holds the word (Store, Drain, ...), shown only
#   bash tests/bench.sh Store --write     those, written down
# BENCH_RUNS (5): how often each of ingest is measured; the median counts. BENCH_STALL_MINUTES (10): for how long the store is stalled.
set -eu
cd "$(dirname "$0")/.."
export DOTNET_NOLOGO=1 DOTNET_CLI_TELEMETRY_OPTOUT=1 BENCH_RUNS=${BENCH_RUNS:-5} BENCH_STALL_MINUTES=${BENCH_STALL_MINUTES:-10}

# In which order they stand, and the names by which they are repeated.
ingest=(Durable_rate_and_processor_time Drain_of_a_queued_session Publish_to_acknowledgement Rate_of_the_embedded_broker Store_stalled)
store=(A_store_of_many_messages The_live_state_of_many_sites)
replay=(A_year_replayed_on_one_processor)
webhooks=(Delivery_beside_targets_that_hang_or_fail)
machine="$(nproc) processors ($(sed -n 's/^model name[[:space:]]*: //p' /proc/cpuinfo | head -1)), .NET $(dotnet --list-runtimes | sed -n 's/^Microsoft.NETCore.App \([0-9.]*\).*/\1/p' | tail -1)"
measured="Measured by \`bash tests/bench.sh\` on $(date -u +%F), commit \`$(git rev-parse --short HEAD 2>/dev/null || echo unknown)\`"
command -v mosquitto_sub >/dev/null || { echo "mosquitto_sub is not installed (Debian: mosquitto-clients)"; exit 1; }
dotnet build tests/TankWatch.Service.Tests -c Release -v quiet

# CLASS WORD FIGURE...: the rows of those figures whose full name holds the word.
rows() {
  local class=$1 word=$2 made
  made=$(mktemp)
  for figure in "${@:3}"; do
    [[ $class.$figure == *"$word"* ]] || continue
    FIGURES_FILE=$made dotnet run --project tests/TankWatch.Service.Tests -c Release --no-build -- \
      -noColor -explicit only -method "*.$class.$figure" >&2 || echo "| $figure | not measured | | **missed** |" >> "$made"
  done
  cat "$made"
  rm "$made"
}

# SECTION: shows the text that it reads, and writes it down when that is asked for.
tell() {
  local text
  text=$(mktemp)
  cat > "$text"
  cat "$text"
  [ "$write" = no ] || bash tests/section.sh "$1" "$text"
  rm "$text"
}

word=${1:-}
write=no
[ $# -eq 0 ] || [ "${2:-}" = --write ] && write=yes

made=$(rows IngestFigures "$word" "${ingest[@]}")
[ -z "$made" ] || tell ingest <<END
## Ingest

$measured, with publisher, broker and service on one machine:
$machine, mosquitto $(mosquitto_sub --help | grep -oE 'version [0-9.]+' | head -1 | grep -oE '[0-9.]+'). Medians of $BENCH_RUNS runs.

| what | measured | aim | |
| --- | --- | --- | --- |
$made

The service is \`tankwatch serve\` with the site files of \`tankwatch load\`, its rules running; mosquitto has \`deploy/mosquitto\`'s configuration; each peer
has the same broker and publisher in the same run, and each figure comes after a shorter run that does not count. Stored is what the service counts as
accepted after its commit. To repeat one line: \`bash tests/bench.sh NAME\`, with NAME one of $(printf '`%s`, ' "${ingest[@]}" | sed 's/, $//').
END

made=$(rows StoreFigures "$word" "${store[@]}")
[ -z "$made" ] || tell store <<END
## Store

$measured, on $machine.
The messages are made and put into the store as the fold puts them; FIGURES_SITES, FIGURES_ROWS_PER_SITE and FIGURES_MANY_SITES make it larger or smaller.

| what | measured | aim | |
| --- | --- | --- | --- |
$made

To repeat one line: \`bash tests/bench.sh NAME\`, with NAME one of $(printf '`%s`, ' "${store[@]}" | sed 's/, $//').
END

made=$(rows ReplayFigures "$word" "${replay[@]}")
[ -z "$made" ] || tell replay <<END
## Replay

$measured, on $machine. Medians of $BENCH_RUNS runs.

| what | measured | aim | |
| --- | --- | --- | --- |
$made

The recorded sites of \`tests/TankWatch.Core.Tests/Data/hydraulics\`, each repeated until it spans a year, read, judged and written by
\`tankwatch replay --folders\` after a run that does not count. To repeat it: \`bash tests/bench.sh Replay\`.
END

made=$(rows WebhookFigures "$word" "${webhooks[@]}")
[ -z "$made" ] || tell webhooks <<END
## Webhooks

$measured, on $machine. Medians of $BENCH_RUNS pairs of runs.

| what | measured | aim | |
| --- | --- | --- | --- |
$made

Targets are HTTP servers within the same process. An event's time runs from before it is stored until its request comes in; each pair is measured one
right after the other, and in turn begins with either. To repeat it: \`bash tests/bench.sh Webhook\`.
END
