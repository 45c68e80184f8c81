#!/bin/sh
# Makes a release twice, from two copies of the last commit in different folders,
# compares every file and looks into it: sh cmd/twice.sh [VERSION]. RIPIENO_TARGETS
# makes fewer. With RIPIENO_AFRESH the second copy compiles everything anew, as another
# machine would; otherwise it takes from Go's cache what the first has compiled.
set -eu
cd "$(dirname "$0")/.."
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
commit=$(git rev-parse HEAD) # the same for both, whatever is committed meanwhile
for copy in one "a longer name/two"; do
	mkdir -p "$work/$copy"
	git clone -q --no-hardlinks . "$work/$copy/source"
	git -C "$work/$copy/source" checkout -q "$commit"
	if [ "$copy" != one ] && [ -n "${RIPIENO_AFRESH-}" ]; then
		GOCACHE=$work/cache
		export GOCACHE
	fi
	sh "$work/$copy/source/cmd/release.sh" "${1-0.0.1}" "$work/$copy/release" >/dev/null
done
diff -r "$work/one/release" "$work/a longer name/two/release"
cat "$work/one/release/SHA256SUMS"
sh cmd/inspect.sh "$work/one/release"
echo "both releases are the same, byte for byte"
