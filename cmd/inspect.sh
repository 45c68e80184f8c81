#!/bin/sh
# Looks into a release that cmd/release.sh made: sh cmd/inspect.sh FOLDER. Every archive
# and package must hold the program for its system, the pages, the completions and what
# says whose work is in it; sums, formula, manifest and the list of contents must agree
# with the files. Programs that can be run here are run: on Linux this processor's, that
# for another through qemu-ARCH-static, that for Windows through wine. It says which
# were not run, and ends with 1 when anything is wrong.
set -eu
if [ $# -ne 1 ] || [ ! -f "$1/SHA256SUMS" ]; then
	echo "error: \"${1-}\" is no folder of a release" >&2
	echo "  hint: sh cmd/inspect.sh FOLDER, with what cmd/release.sh made" >&2
	exit 2
fi
home=$(cd "$(dirname "$0")/.." && pwd)
cd "$1"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
wrong=0

# bad WHAT: says what is wrong and goes on.
bad() {
	echo "wrong: $1" >&2
	wrong=1
}

# The verbs are those of the README's table; each has a page of the manual.
verbs=$(sed -n '/^## Verbs/,/^Every verb/s/^| `\([a-z]*\)` |.*/\1/p' "$home/README.md")
if [ "$(echo "$verbs" | wc -w)" -lt 15 ]; then bad "the README's table of verbs was not read"; fi

# has LIST NAME ...: the list of a package's files holds each of them.
has() {
	list=$1
	shift
	for wanted; do
		if ! grep -q "[ /]$wanted\$" "$list"; then bad "$(basename "$list"): no $wanted"; fi
	done
}

# pages LIST ENDING: it holds a page for every verb and one for the program.
pages() {
	has "$1" "man1*/ripieno.1$2"
	for verb in $verbs; do has "$1" "man1*/ripieno-$verb.1$2"; done
}

# runs PROGRAM COMMAND ...: the program, run by the command, states its version and every
# licence that is kept with the source.
runs() {
	program=$1
	shift
	if ! "$@" "$program" version >"$work/version" 2>"$work/errors" ||
		! "$@" "$program" version --licences >"$work/licences" 2>>"$work/errors"; then
		bad "$program does not run: $(tail -n 1 "$work/errors")"
		return
	fi
	if ! grep -q "^ripieno $version\b" "$work/version"; then bad "$program says $(head -n 1 "$work/version")"; fi
	for text in "$home"/assemble/build/licences/*.txt; do
		work_name=$(basename "$text" .txt | tr _ /)
		if ! grep -q -F -e "$work_name" "$work/licences"; then bad "$program states no licence of $work_name"; fi
	done
	echo "run: $(tr -d '\r' <"$work/version" | head -n 1); $(wc -l <"$work/licences") lines of licences"
}

version=$(ls | sed -n 's/^ripieno-\(.*\)-linux\.cdx\.json$/\1/p')
if ! sha256sum --quiet -c SHA256SUMS; then bad "a sum is not that of its file"; fi
for file in *; do
	if [ "$file" != SHA256SUMS ] && ! grep -q "  $file\$" SHA256SUMS; then bad "$file has no sum"; fi
done

made=0
for target in linux-amd64 linux-arm64 darwin-amd64 darwin-arm64 windows-amd64 windows-arm64; do
	system=${target%-*} cpu=${target#*-} name=ripieno-$version-$target program=ripieno
	if [ "$system" = windows ]; then program=ripieno.exe; fi
	if [ -f "$name.tar.gz" ]; then
		tar -xzf "$name.tar.gz" -C "$work"
	elif [ -f "$name.zip" ]; then
		(cd "$work" && unzip -q "$OLDPWD/$name.zip")
	else
		echo "not made: $target"
		continue
	fi
	made=$((made + 1))
	(cd "$work" && find "$name" -type f | sed 's|/man/|/man1/|' >"$name.files")
	has "$work/$name.files" README.md "$program" completions/ripieno.bash completions/_ripieno completions/ripieno.fish \
		completions/ripieno.ps1
	pages "$work/$name.files" ""
	go version -m "$work/$name/$program" >"$work/$name.build"
	if ! grep -q "GOOS=$system\$" "$work/$name.build" || ! grep -q "GOARCH=$cpu\$" "$work/$name.build"; then
		bad "$name is for another system"
	fi
	# Paths of the machine that made it would be told to everybody and differ elsewhere.
	if grep -q -a -F -e "$home/" -e "$(go env GOROOT)/" -e "$(go env GOMODCACHE)/" "$work/$name/$program"; then
		bad "$name has paths of this machine in it"
	fi
	case $target in
	"$(go env GOHOSTOS)-$(go env GOHOSTARCH)") runs "$work/$name/$program" env ;;
	linux-arm64)
		if command -v qemu-aarch64-static >/dev/null; then
			runs "$work/$name/$program" qemu-aarch64-static
		else
			echo "not run: $target, there is no qemu-aarch64-static"
		fi
		;;
	windows-amd64)
		if command -v wine >/dev/null; then
			echo "run by cmd/wine.sh, which makes up for what Wine lacks: $target"
		else
			echo "not run: $target, there is no wine"
		fi
		;;
	*) echo "not run: $target" ;;
	esac
done

# A system's list of contents names the modules that its programs say they are made of.
for system in linux darwin windows; do
	for build in "$work"/*-"$system"-*.build; do
		if [ -f "$build" ]; then sed -n 's/^\tdep\t\([^\t]*\)\t\([^\t]*\)\t.*/\1@\2/p' "$build"; fi
	done | sort -u >"$work/modules"
	while read -r module; do
		if ! grep -q -F -e "$module" "ripieno-$version-$system.cdx.json"; then
			bad "$module is not in the list of contents for $system"
		fi
	done <"$work/modules"
	echo "contents: $system, $(wc -l <"$work/modules") modules"
	if [ "$system" = linux ] && [ ! -s "$work/modules" ]; then bad "no module was read from the programs"; fi
done

for archive in *.tar.gz *.zip; do
	if [ ! -f "$archive" ]; then continue; fi
	sum=$(sha256sum "$archive" | cut -d ' ' -f 1)
	where=ripieno.rb
	case $archive in *windows*) where=ripieno.winget.yaml ;; esac
	# The sum stands in the line after that of the address.
	if ! grep -A 1 "/$archive\"*\$" "$where" | grep -q "$sum"; then bad "$where has another sum of $archive"; fi
done
if command -v ruby >/dev/null && ! ruby -c ripieno.rb >/dev/null; then bad "ripieno.rb is no Ruby"; fi

for package in *.deb *.rpm; do
	list=$work/$package.files
	case $package in
	*.deb)
		if ! command -v dpkg-deb >/dev/null; then continue; fi
		dpkg-deb -c "$package" >"$list"
		dpkg-deb -f "$package" >"$work/control"
		;;
	*.rpm)
		if ! command -v rpm >/dev/null; then continue; fi
		rpm -qlp "$package" >"$list" 2>/dev/null
		rpm -qp --requires --qf 'Version: %{VERSION}\n' "$package" >"$work/control" 2>/dev/null
		;;
	esac
	has "$list" usr/bin/ripieno usr/share/bash-completion/completions/ripieno usr/share/doc/ripieno/copyright \
		usr/share/fish/vendor_completions.d/ripieno.fish _ripieno
	pages "$list" .gz
	if ! grep -q "^Version: $version" "$work/control"; then bad "$package is of another version"; fi
	if ! grep -q ffmpeg "$work/control"; then bad "$package does not ask for ffmpeg"; fi
	echo "package: $package, $(grep -c . "$list") files and folders"
done
echo "$made archives, $(echo "$verbs" | wc -w) verbs"
exit "$wrong"
