#!/usr/bin/env bash
# Judges the estimator on simulated water systems that it was not tuned on: the explicit tests of TrialFigures. It wants both processors.
#   bash tests/method.sh                   300 trials, shown only
#   bash tests/method.sh 1000 --write      so many, written into docs/method.md
#   bash tests/method.sh --folders DIR N   writes N trials as folders of site.json, recording.jsonl and truth.json instead
set -eu
cd "$(dirname "$0")/.."
export DOTNET_NOLOGO=1 DOTNET_CLI_TELEMETRY_OPTOUT=1

# FIGURE: runs that explicit test.
figure() {
  dotnet run --project tests/TankWatch.Core.Tests -c Release --no-build -- -noColor -explicit only -method "*.TrialFigures.$1" >&2
}

if [ "${1:-}" = --folders ]; then
  folder=$(realpath -m "${2:?which folder}")
  dotnet build tests/TankWatch.Core.Tests -c Release -v quiet
  TRIALS=${3:?how many} TRIALS_FOLDER=$folder figure Folders
  exit
fi
