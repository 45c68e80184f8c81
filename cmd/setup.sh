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

# other_ffmpeg puts the ffmpeg of Debian 13 into the user's cache folder, on Debian 12,
# with all it needs and beside nothing of the system's: one test makes films with
# it. Where it cannot be had that test is skipped, so nothing here fails.
other_ffmpeg() {
	there=${XDG_CACHE_HOME:-$HOME/.cache}/ripieno-tests/ffmpeg-7
	if [ -e "$there" ] || [ "$(uname -m)" != x86_64 ] || ! grep -q '^VERSION_CODENAME=bookworm' /etc/os-release 2>/dev/null; then
		return 0
	fi
	site=$(apt-get indextargets --format '$(REPO_URI)' 'Created-By: Packages' 2>/dev/null | grep '/debian/*$' | head -n 1)
	if [ -z "$site" ]; then return 0; fi
	echo "fetching the next release's ffmpeg for one test ..." >&2
	got=$(mktemp -d)
	if other_packages "$got" "$site" >"$got/log" 2>&1; then
		mkdir -p "$(dirname "$there")"
		mv "$got/root" "$there"
	else
		echo "  it cannot be had: $(tail -n 1 "$got/log"); its test will be skipped" >&2
	fi
	rm -rf "$got"
}

# other_packages FOLDER SITE: downloads and unpacks into FOLDER/root.
other_packages() {
	mkdir -p "$1/lists/partial" "$1/cache/archives/partial" "$1/root/bin"
	echo "deb [signed-by=/usr/share/keyrings/debian-archive-keyring.gpg] $2 trixie main" >"$1/sources.list"
	: >"$1/status"
	own_apt() {
		timeout 300 apt-get -q -o Dir::State::lists="$got/lists" -o Dir::State::status="$got/status" \
			-o Dir::Cache="$got/cache" -o Dir::Etc::sourcelist="$got/sources.list" -o Dir::Etc::sourceparts=/dev/null \
			-o Acquire::Languages=none -o Acquire::IndexTargets::deb::DEP-11::DefaultEnabled=false "$@"
	}
	own_apt update && own_apt install -y --no-install-recommends --download-only ffmpeg || return 1
	for package in "$1"/cache/archives/*.deb; do dpkg-deb -x "$package" "$1/root" || return 1; done
	for program in ffmpeg ffprobe; do
		cat >"$1/root/bin/$program" <<'END'
#!/bin/sh
root=$(cd "$(dirname "$0")/.." && pwd)
lib=$root/usr/lib/x86_64-linux-gnu
exec "$lib/ld-linux-x86-64.so.2" --library-path "$lib:$lib/pulseaudio:$lib/blas:$lib/lapack" \
	"$root/usr/bin/$(basename "$0")" "$@"
END
		chmod +x "$1/root/bin/$program" || return 1
	done
	"$1/root/bin/ffprobe" -version
}

# pieces puts songs in the public domain, as MIDI files of a Debian package, into the
# user's cache folder without installing the package, which brings a whole program along.
# Where they cannot be had their tests are skipped, so nothing here fails.
pieces() {
	songs=usr/share/games/pianobooster/music
	there=${XDG_CACHE_HOME:-$HOME/.cache}/ripieno-tests/pieces
	if [ -e "/$songs" ] || [ -e "$there/$songs" ] || ! there apt-get dpkg-deb; then return 0; fi
	echo "fetching songs for two tests ..." >&2
	got=$(mktemp -d)
	if (cd "$got" && timeout 120 apt-get -q download pianobooster && dpkg-deb -x pianobooster_*.deb root) >"$got/log" 2>&1; then
		mkdir -p "$there"
		cp -R "$got/root/usr" "$there/"
	else
		echo "  they cannot be had: $(tail -n 1 "$got/log"); their tests will be skipped" >&2
	fi
	rm -rf "$got"
}

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
	other_ffmpeg
	pieces
fi
