#!/usr/bin/env bash
# Judges the estimator on simulated water systems that it was not tuned on: the explicit tests of TrialFigures. It wants both processors.
#   bash tests/method.sh                   300 trials, shown only
#   bash tests/method.sh 1000 --write      so many, written into docs/method.md
#   bash tests/method.sh --folders DIR N   writes N other trials as folders of site.json, recording.jsonl and truth.json instead
# TRIALS_SEED: the number of the first trial. A trial that a table was made of is looked at by writing it alone: leak-10001 is
#   TRIALS_SEED=10001 bash tests/method.sh --folders DIR 1
set -eu
cd "$(dirname "$0")/.."
export DOTNET_NOLOGO=1 DOTNET_CLI_TELEMETRY_OPTOUT=1

# FIGURE: runs that explicit test.
figure() {
  dotnet run --project tests/TankWatch.Core.Tests -c Release --no-build -- -noColor -explicit only -method "*.TrialFigures.$1" >&2
}

if [ "${1:-}" = --folders ]; then
  folder=$(realpath -m "${2:?which folder}")
  dotnet build tests/TankWatch.Core.Tests -c Release -v quiet >&2
  TRIALS=${3:?how many} TRIALS_FOLDER=$folder figure Folders
  exit
fi

trials=300
if [ $# -gt 0 ] && [ "$1" != --write ]; then
  trials=$1
  shift
fi
dotnet build tests/TankWatch.Core.Tests -c Release -v quiet >&2
made=$(mktemp)
tables=$(mktemp)
trap 'rm -f "$made" "$tables"' EXIT
TRIALS=$trials FIGURES_FILE=$tables figure Tables
{
  echo "Made by \`bash tests/method.sh $trials --write\` on $(date -u +%F), commit \`$(git rev-parse --short HEAD 2>/dev/null || echo unknown)\`: $trials simulated buildings, each"
  echo "with 4 to 200 residents and 34 to 60 days of messages, with something done to it or nothing. Their water is the simulator's, which shares"
  echo "nothing with the estimator, and those on which it may be tuned (\`--folders\`) are others. Every trial can be made again from its number."
  cat "$tables"
} > "$made"
cat "$made"
[ "${1:-}" != --write ] || bash tests/section.sh trials "$made" method
