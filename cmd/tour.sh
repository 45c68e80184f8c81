#!/bin/sh
# Makes the README's pictures anew: sh cmd/tour.sh [DEMO], with a folder in which
# `ripieno demo` has run, or none to run it now. It needs ffmpeg and a browser. Look at
# all four before you commit them.
set -eu
cd "$(dirname "$0")/.."
browser=
for name in chromium chromium-browser google-chrome google-chrome-stable chrome; do
	if command -v "$name" >/dev/null; then browser=$name && break; fi
done
if [ -z "$browser" ]; then
	echo "error: there is no browser for the picture of the report" >&2
	echo "  hint: sh cmd/setup.sh --tests installs one" >&2
	exit 4
fi
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
go build -o "$work/ripieno" ./cmd/ripieno
# A missing take, which the demo has, ends a verb with 5.
verb() { "$work/ripieno" "$@" || [ $? -eq 5 ]; }
demo=${1-}
if [ -z "$demo" ]; then
	demo=$work/lamplighter
	verb demo "$demo"
fi
demo=$(cd "$demo" && pwd)
verb report --dir "$demo" --quiet

# picture SOURCE FILTERS PICTURE: with the colours that this picture needs, at most 64,
# so that it stays small.
picture() {
	ffmpeg -v error -y -i "$1" -frames:v 1 -vf "$2,split[a][b];[a]palettegen=64:reserve_transparent=0[p];
		[b][p]paletteuse=dither=none" -flags +bitexact -map_metadata -1 "examples/tour/$3"
}

# The film where all players are seen, in m11.
ffmpeg -v error -y -ss 17 -i "$demo/out/final.mp4" -frames:v 1 -vf scale=1280:-2:flags=lanczos -q:v 5 \
	-flags +bitexact -map_metadata -1 examples/tour/film.jpg
picture "$demo/out/grid-final.png" scale=960:-2:flags=lanczos grid.png
picture "$demo/out/sync.png" null sync.png
# The report's roll call, which begins 500 pixels down the page.
"$browser" --headless --no-sandbox --disable-gpu --hide-scrollbars --window-size=1120,1260 \
	--user-data-dir="$work/profile" --screenshot="$work/report.png" "file://$demo/out/report.html" >/dev/null 2>&1
picture "$work/report.png" crop=1120:760:0:500 report.png
ls -l examples/tour
