#!/bin/sh
# Runs tests of the Windows build under Wine: sh cmd/wine.sh PACKAGE ... (default: the
# store with its locks, kills and replacing, and what needs no other program), and the
# program itself. Wine and a cross compiler are Debian's packages wine, wine64 and
# gcc-mingw-w64-x86-64; without them it says so and ends with 3. It takes WINE_SECONDS
# (default 900) at most, after which it says what has not run and ends with 4. On two
# idle cores it takes about two minutes, most of them for compiling; beside other work
# the compiling alone has taken four.
#
# Wine 8 lacks two things that Go 1.26 asks for. bcryptprimitives.dll has one function
# that is used, for which a library stands in; and files are deleted as on older
# Windows, by the way that Go keeps for that and tests itself.
set -eu
cd "$(dirname "$0")/.."

for program in wine x86_64-w64-mingw32-gcc; do
	if ! command -v "$program" >/dev/null; then
		echo "wine: $program is not there, so the Windows build was not run" >&2
		exit 3
	fi
done
if [ $# -eq 0 ]; then
	set -- ./assemble/store ./assemble/manifest ./assemble/ffmpeg ./assemble/production ./assemble/fault ./layout \
		./mix/audio
fi

work=$(mktemp -d)
trap 'WINEPREFIX="$work/wine" wineserver -k >/dev/null 2>&1 || true; rm -rf "$work"' EXIT
end=$(($(date +%s) + ${WINE_SECONDS:-900}))

at=$(go env GOROOT)/src/internal/syscall/windows/at_windows.go
sed 's/^var TestDeleteatFallback bool$/var TestDeleteatFallback = true/' "$at" >"$work/at_windows.go"
printf '{"Replace": {"%s": "%s"}}\n' "$at" "$work/at_windows.go" >"$work/overlay.json"

cat >"$work/prng.c" <<'END'
#include <windows.h>
BOOLEAN NTAPI SystemFunction036(PVOID, ULONG); /* RtlGenRandom, of advapi32 */
__declspec(dllexport) BOOL WINAPI ProcessPrng(PBYTE data, SIZE_T n) { return SystemFunction036(data, (ULONG)n); }
END
export WINEPREFIX="$work/wine" WINEDEBUG=-all
timeout 100 wineboot -i >/dev/null 2>&1 || { echo "wine: no Windows could be set up" >&2; exit 3; }
x86_64-w64-mingw32-gcc -shared -o "$WINEPREFIX/drive_c/windows/system32/bcryptprimitives.dll" "$work/prng.c" -ladvapi32

failed=0 late=0

# in_time SECONDS: is so much left?
in_time() { [ $((end - $(date +%s))) -ge "$1" ]; }

for package; do
	name=$(basename "$package")
	if ! in_time 5 || ! GOOS=windows GOARCH=amd64 CGO_ENABLED=0 \
		go test -overlay "$work/overlay.json" -c -o "$work/$name.test.exe" "$package" || ! in_time 5; then
		echo "wine: no time was left for $package, or it does not compile" >&2
		late=1
		continue
	fi
	# Where CI is set a test fails that finds no ffmpeg, and for Windows there is none here:
	# without it such a test is left out, and counted as that.
	code=0
	(cd "$package" && env -u CI timeout $((end - $(date +%s))) wine "$work/$name.test.exe" -test.short -test.v) >"$work/log" 2>&1 || code=$?
	case $code in
	0) echo "wine: $package: $(grep -c '^--- PASS' "$work/log") tests pass, $(grep -c '^ *--- SKIP' "$work/log") left out" ;;
	124)
		echo "wine: $package did not end in time" >&2
		late=1
		;;
	*)
		echo "wine: $package fails:" >&2
		grep -E '^\s*(--- FAIL|panic)|_test.go:' "$work/log" | head -n 60 >&2
		failed=1
		;;
	esac
done

# The program itself: it says what it is, explains itself, begins a production in a
# folder with a space and a letter that is not English, and says that ffmpeg is missing.
if in_time 30 && GOOS=windows GOARCH=amd64 CGO_ENABLED=0 \
	go build -overlay "$work/overlay.json" -o "$work/ripieno.exe" ./cmd/ripieno && in_time 10; then
	place="$work/my piece ü"
	mkdir "$place"
	# says WORD CODE ARGUMENTS ...: the program prints it and ends with that code.
	says() {
		word=$1 want=$2 code=0
		shift 2
		(cd "$place" && timeout 60 wine "$work/ripieno.exe" "$@") >"$work/log" 2>&1 || code=$?
		if [ "$code" != "$want" ] || ! grep -q -e "$word" "$work/log"; then
			echo "wine: ripieno $* ends with $code instead of $want, or does not say \"$word\":" >&2
			head -n 20 "$work/log" >&2
			failed=1
		fi
	}
	says 'windows/amd64' 0 version
	says 'rough' 0 help
	says 'count_in' 0 keys
	says 'production.yaml' 0 new --empty
	says 'ffmpeg' 4 doctor
	if ! grep -q '^tempo:' "$place/production.yaml"; then
		echo "wine: ripieno new wrote no manifest" >&2
		failed=1
	fi
	echo "wine: ripieno.exe was run"
else
	echo "wine: no time was left for the program itself" >&2
	late=1
fi
if [ "$failed" -ne 0 ]; then exit 1; fi
if [ "$late" -ne 0 ]; then exit 4; fi
