#!/bin/sh
# Installs what ripieno needs besides Go: ffmpeg with ffprobe. Says nothing and
# does nothing when both are there. Uses the machine's own package manager, and
# sudo when it is not run by root.
set -eu

if command -v ffmpeg >/dev/null 2>&1 && command -v ffprobe >/dev/null 2>&1; then
	exit 0
fi

as_root() {
	if [ "$(id -u)" -eq 0 ]; then
		"$@"
	elif command -v sudo >/dev/null 2>&1; then
		sudo "$@"
	else
		echo "error: ffmpeg is missing and installing it needs root" >&2
		echo "  hint: run this script as root, or install the package ffmpeg yourself" >&2
		exit 4
	fi
}

echo "installing ffmpeg ..." >&2
if command -v apt-get >/dev/null 2>&1; then
	as_root env DEBIAN_FRONTEND=noninteractive apt-get update -q >&2
	as_root env DEBIAN_FRONTEND=noninteractive apt-get install -q -y --no-install-recommends ffmpeg >&2
elif command -v dnf >/dev/null 2>&1; then
	# Fedora's own build lacks H.264; its full build lives in another package
	# source, which only the person at the machine can decide to add.
	as_root dnf install -y ffmpeg >&2 || as_root dnf install -y ffmpeg-free >&2
elif command -v brew >/dev/null 2>&1; then
	brew install ffmpeg >&2
else
	echo "error: ffmpeg is missing and no known package manager was found" >&2
	echo "  hint: install ffmpeg with libx264, so that ffmpeg and ffprobe are on the search path" >&2
	exit 4
fi

if ! command -v ffprobe >/dev/null 2>&1; then
	echo "error: ffmpeg was installed but ffprobe is still not on the search path" >&2
	exit 4
fi
