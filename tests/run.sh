#!/usr/bin/env bash
# Installs or finds the servers that the tests talk to, builds, runs every test project, and ends with one line that counts the tests.
# A server that cannot be had is named; the tests that need it count as skipped, never as passed.
# Arguments choose tests, as the test runner takes them: tests/run.sh -class "*ArrivalTests"
set -u
cd "$(dirname "$0")/.."
export DOTNET_NOLOGO=1 DOTNET_CLI_TELEMETRY_OPTOUT=1

# Tests that are killed leave their folders behind: all are in one place, which loses what is older than a day.
export TMPDIR="${TMPDIR:-/tmp}/tankwatch-tests"
mkdir -p "$TMPDIR" && find "$TMPDIR" -mindepth 1 -maxdepth 1 -mmin +1440 -exec rm -rf {} +

declare -A server=([mosquitto]=mosquitto [mosquitto_pub]=mosquitto-clients [exim4]=exim4-daemon-light [chromium]=chromium)
missing=()
for program in "${!server[@]}"; do
  PATH="$PATH:/usr/sbin" command -v "$program" >/dev/null || missing+=("${server[$program]}")
done
/usr/bin/python3 -c 'import paho.mqtt' 2>/dev/null || missing+=(python3-paho-mqtt)
/usr/bin/python3 -c 'import icalendar' 2>/dev/null || missing+=(python3-icalendar)
if [ ${#missing[@]} -gt 0 ] && [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
  echo "installing ${missing[*]}"
  # Their packages must not start daemons of their own: the tests start private ones on free ports.
  policy=/usr/sbin/policy-rc.d
  [ -e "$policy" ] || { printf '#!/bin/sh\nexit 101\n' > "$policy"; chmod 755 "$policy"; trap 'rm -f /usr/sbin/policy-rc.d' EXIT; }
  { apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "${missing[@]}"; } >/dev/null 2>&1 ||
    echo "could not install ${missing[*]}"
fi

# One more client, which is published elsewhere; Node.js itself is not installed for it.
if command -v npm >/dev/null && ! node -e "require('mqtt')" 2>/dev/null; then
  clients=$(mktemp -d)
  timeout 60 npm install --prefix "$clients" --no-audit --no-fund --ignore-scripts mqtt@5 >/dev/null 2>&1 || echo "could not install mqtt.js"
  export NODE_PATH=$clients/node_modules
fi

passed=0; failed=0; skipped=0; failures=
for project in tests/*.Tests/*.Tests.csproj; do
  name=$(basename "$project" .csproj)
  if ! dotnet build "$project" -c Release -v quiet; then
    echo "$name does not build"; failed=$((failed + 1)); continue
  fi
  log=$(mktemp)
  dotnet run --project "$project" -c Release --no-build -- -noColor "$@" 2>&1 | tee "$log"
  status=${PIPESTATUS[0]}
  count() { grep -oE "$1: [0-9]+" "$log" | tail -1 | grep -oE '[0-9]+' || echo 0; }
  total=$(count Total); errors=$(count Errors); bad=$(count Failed); left=$(count Skipped)
  bad=$((bad + errors))
  # A run that ended badly, or ran nothing of all tests, is a failure whatever it counted.
  if [ "$bad" -eq 0 ] && { { [ "$status" -ne 0 ] && [ "$total" -gt 0 ]; } || { [ "$total" -eq 0 ] && [ $# -eq 0 ]; }; }; then bad=1; fi
  passed=$((passed + total - bad - left)); failed=$((failed + bad)); skipped=$((skipped + left))
  grep -E '\[SKIP\]' "$log" | sed 's/^/not run: /'
  # Said again at the end: what stands between thousands of lines is not found.
  # Of what follows a failure, only what is set further in belongs to it.
  failures+=$(awk '/\[FAIL\]$/ { left = 9 } !/\[FAIL\]$/ && !/^     / { left = 0 } left-- > 0' "$log" | cut -c 1-300 | sed 's/^/failed: /' | head -200)$'\n'
  rm -f "$log"
done

rm -rf "${clients:-}"
printf '%s' "$failures" | grep .
if [ "$skipped" -gt 0 ]; then echo "$passed passed, $failed failed, $skipped skipped"; else echo "$passed passed, $failed failed"; fi
[ "$failed" -eq 0 ] && [ "$passed" -gt 0 ]
