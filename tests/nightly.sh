#!/usr/bin/env bash
# The long proofs, with the numbers of a night: any order of arrival, sudden deaths, a store that stands still for ten minutes.
# Any number given in the environment stays. Ends as run.sh does.
set -u
cd "$(dirname "$0")/.."
export TANKWATCH_TEST_CASES="${TANKWATCH_TEST_CASES:-10000}"
export TANKWATCH_TEST_KILLS="${TANKWATCH_TEST_KILLS:-1000}"
export TANKWATCH_TEST_STALL_SECONDS="${TANKWATCH_TEST_STALL_SECONDS:-600}"
exec bash tests/run.sh -showLiveOutput -class "*.ArrivalTests" -class "*.SuddenDeathTests" -class "*.StalledStoreTests"
