#!/usr/bin/env bash
# Builds and runs every test project that there is; ends with one line that counts them.
set -u
cd "$(dirname "$0")/.."
passed=0; failed=0
for project in tests/*.Tests/*.Tests.csproj; do
  name=$(basename "$project" .csproj)
  out=$(mktemp)
  if dotnet build "$project" -c Release -v q --nologo; then
    dotnet run --project "$project" -c Release --no-build -- -noColor 2>&1 | tee "$out"
    total=$(grep -oE 'Total: [0-9]+' "$out" | tail -1 | grep -oE '[0-9]+'); total=${total:-0}
    bad=$(grep -oE '(Errors|Failed): [0-9]+' "$out" | tail -2 | grep -oE '[0-9]+' | paste -sd+ | bc); bad=${bad:-0}
    [ "$total" -gt 0 ] || bad=1
    passed=$((passed + total - bad)); failed=$((failed + bad))
  else
    echo "$name does not build"; failed=$((failed + 1))
  fi
  rm -f "$out"
done
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
