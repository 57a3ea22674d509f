#!/usr/bin/env bash
# Makes the pictures of the pages in docs/pictures, from a demonstration that it starts: the explicit test Figures.Pictures of the browser tests,
# then fewer colours, so that the whole set stays under 3 MB. It needs Chromium, and ImageMagick or pngquant for the second step.
set -eu
cd "$(dirname "$0")/.."
export DOTNET_NOLOGO=1 DOTNET_CLI_TELEMETRY_OPTOUT=1

folder=docs/pictures
fresh=$(mktemp -d)
trap 'rm -rf "$fresh"' EXIT
dotnet build tests/TankWatch.Browser.Tests -c Release -v quiet
PICTURES_FOLDER=$fresh dotnet run --project tests/TankWatch.Browser.Tests -c Release --no-build -- -noColor -explicit only -class '*.Figures.Pictures'
[ -n "$(ls "$fresh")" ] || { echo "no pictures were made"; exit 1; }

mkdir -p "$folder"
for picture in "$fresh"/*.png; do
  made=$folder/$(basename "$picture")
  if command -v pngquant >/dev/null; then pngquant --force --strip --output "$made" 64 "$picture"
  elif command -v convert >/dev/null; then convert "$picture" -strip +dither -colors 64 -define png:compression-level=9 "PNG8:$made"
  else cp "$picture" "$made"; fi
done
bytes=$(cat "$folder"/*.png | wc -c)
echo "$(ls "$folder" | wc -l) pictures in $folder, $((bytes / 1024)) KB"
[ "$bytes" -lt $((3 * 1024 * 1024)) ] || { echo "the pictures are larger than 3 MB"; exit 1; }
