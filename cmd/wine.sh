#!/bin/sh
# Runs tests of the Windows build under Wine: sh cmd/wine.sh PACKAGE ... (default: the
# store and what needs no other program). Wine and a cross compiler are Debian's
# packages wine, wine64 and gcc-mingw-w64-x86-64; without them it says so and ends with
# 3. It takes WINE_SECONDS (default 110) at most, after which it says what has not run.
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
	set -- ./assemble/production ./assemble/fault ./layout ./mix/audio ./assemble/store
fi

work=$(mktemp -d)
trap 'WINEPREFIX="$work/wine" wineserver -k >/dev/null 2>&1 || true; rm -rf "$work"' EXIT
end=$(($(date +%s) + ${WINE_SECONDS:-110}))

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

# What expects rights, names, separators, signals or links of Unix, or removes the lock
# file while it is held.
unix='TestTheStoreIsForItsOwnerAlone|TestPublishFaults|TestOpenInImpossiblePlace|TestDeviceThatIsFull|TestKillAnywhere'
failed=0
for package; do
	left=$((end - $(date +%s)))
	if [ "$left" -lt 5 ]; then
		echo "wine: no time was left for $package" >&2
		continue
	fi
	GOOS=windows GOARCH=amd64 go test -overlay "$work/overlay.json" -c -o "$work/a.test.exe" "$package"
	left=$((end - $(date +%s)))
	if [ "$left" -lt 5 ]; then
		echo "wine: no time was left for $package" >&2
		continue
	fi
	code=0
	(cd "$package" && timeout "$left" wine "$work/a.test.exe" -test.short -test.skip "$unix") >"$work/log" 2>&1 || code=$?
	case $code in
	0) echo "wine: $package passes" ;;
	124) echo "wine: $package did not end in time" >&2 ;;
	*)
		echo "wine: $package fails:" >&2
		grep -E '^\s*(--- FAIL|panic)|_test.go:' "$work/log" | head -n 60 >&2
		failed=1
		;;
	esac
done
exit "$failed"
