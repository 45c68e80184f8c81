#!/bin/sh
# Makes a release twice, from two copies of the last commit in different folders, and
# compares every file: sh cmd/twice.sh [VERSION]. RIPIENO_TARGETS makes fewer.
set -eu
cd "$(dirname "$0")/.."
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
for copy in one "a longer name/two"; do
	mkdir -p "$work/$copy"
	git clone -q --no-hardlinks . "$work/$copy/source"
	sh "$work/$copy/source/cmd/release.sh" "${1-0.0.1}" "$work/$copy/release" >/dev/null
done
diff -r "$work/one/release" "$work/a longer name/two/release"
cat "$work/one/release/SHA256SUMS"
echo "both releases are the same, byte for byte"
