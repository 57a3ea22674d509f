#!/usr/bin/env bash
# section.sh NAME FILE [PAGE]: puts the text of FILE into docs/PAGE.md (performance.md) between its two NAME comments, which are added at the end
# if they are not there yet. So each script that measures writes its own section and leaves the others alone.
set -eu
page=$(dirname "$0")/../docs/${3:-performance}.md
grep -q "^<!-- $1 -->$" "$page" || printf '\n<!-- %s -->\n<!-- /%s -->\n' "$1" "$1" >> "$page"
made=$(mktemp)
awk -v name="$1" -v text="$2" '
  $0 == "<!-- /" name " -->" { inside = 0 }
  !inside { print }
  $0 == "<!-- " name " -->" { inside = 1; while ((getline line < text) > 0) print line }' "$page" > "$made"
cat "$made" > "$page"
rm "$made"
