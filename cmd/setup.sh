#!/bin/sh
# Installs what ripieno needs besides Go: ffmpeg with ffprobe. With --tests also
# what only the tests need: a headless browser for the pages, fluidsynth with a
# sound font as the other opinion about our MIDI files, libebur128 with a C
# compiler about loudness, and aubio about when sounds begin. Says nothing and
# does nothing for what is there. Uses the machine's own package manager, and
# sudo when it is not run by root.
set -eu

tests=no
case "${1-}" in
"") ;;
--tests) tests=yes ;;
*)
	echo "error: setup.sh knows only --tests, not \"$1\"" >&2
	exit 2
	;;
esac

# there COMMAND ...: is one of them on the search path?
there() {
	for c in "$@"; do
		if command -v "$c" >/dev/null 2>&1; then return 0; fi
	done
	return 1
}

as_root() {
	if [ "$(id -u)" -eq 0 ]; then
		"$@"
	elif there sudo; then
		sudo "$@"
	else
		echo "error: installing $missing needs root" >&2
		echo "  hint: run this script as root, or install the packages yourself" >&2
		exit 4
	fi
}

updated=no
apt_install() {
	if [ "$updated" = no ]; then
		as_root env DEBIAN_FRONTEND=noninteractive apt-get update -q >&2
		updated=yes
	fi
	as_root env DEBIAN_FRONTEND=noninteractive apt-get install -q -y --no-install-recommends "$@" >&2
}

# install WHAT APT-PACKAGES DNF-PACKAGES BREW-PACKAGES
install() {
	missing=$1
	echo "installing $missing ..." >&2
	# The lists of packages are meant to be split into words.
	# shellcheck disable=SC2086
	if there apt-get; then
		apt_install $2
	elif there dnf; then
		as_root dnf install -y $3 >&2
	elif there brew; then
		brew install $4 >&2
	else
		echo "error: $missing is missing and no known package manager was found" >&2
		echo "  hint: install it so that it is on the search path" >&2
		exit 4
	fi
}

# installed WHAT COMMAND ...: fails when none of them is there after all.
installed() {
	what=$1
	shift
	if ! there "$@"; then
		echo "error: $what was installed but is still not on the search path" >&2
		exit 4
	fi
}

if ! there ffmpeg || ! there ffprobe; then
	if there dnf && ! there apt-get; then
		# Fedora's own build lacks H.264; its full build lives in another
		# package source, which only the person at the machine can add.
		missing=ffmpeg
		echo "installing ffmpeg ..." >&2
		as_root dnf install -y ffmpeg >&2 || as_root dnf install -y ffmpeg-free >&2
	else
		install ffmpeg ffmpeg ffmpeg ffmpeg
	fi
	installed ffmpeg ffmpeg
	installed ffprobe ffprobe
fi

if [ "$tests" = yes ]; then
	browsers="chromium chromium-browser google-chrome google-chrome-stable chrome"
	# shellcheck disable=SC2086
	if ! there $browsers; then
		install chromium chromium chromium "--cask chromium"
		installed chromium $browsers
	fi
	font=/usr/share/sounds/sf2/FluidR3_GM.sf2
	if ! there fluidsynth || { there apt-get && [ ! -f "$font" ]; }; then
		install fluidsynth "fluidsynth fluid-soundfont-gm" "fluidsynth fluid-soundfont-gm" fluid-synth
		installed fluidsynth fluidsynth
	fi
	# Homebrew's headers lie where no compiler looks by itself.
	ebur128() {
		there cc && echo '#include <ebur128.h>' | cc -I/opt/homebrew/include -I/usr/local/include -E - >/dev/null 2>&1
	}
	if ! ebur128; then
		install libebur128 "gcc libc6-dev libebur128-dev" "gcc libebur128-devel" libebur128
		if ! ebur128; then
			echo "error: libebur128 was installed but its header is still not found" >&2
			exit 4
		fi
	fi
	if ! there aubioonset; then
		install aubioonset aubio-tools aubio aubio
		installed aubioonset aubioonset
	fi
fi
