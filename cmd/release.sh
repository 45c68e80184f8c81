#!/bin/sh
# Makes a release for all systems from this folder, on any of them:
#
#   sh cmd/release.sh VERSION [FOLDER]
#
# puts into FOLDER (default: a new folder beside this script's) archives for Linux,
# macOS and Windows on amd64 and arm64, packages for Debian and RPM systems, a
# Homebrew formula, a winget manifest, lists of what is in the program (CycloneDX)
# and checksums. The same commit and Go give the same bytes, wherever it is made.
# RIPIENO_DOWNLOADS is where the archives will be offered; without it the formula and
# the manifest name a place that cannot exist, so that nobody can publish them by
# mistake. RIPIENO_TARGETS ("linux/amd64 ...") makes fewer, for trying.
set -eu

# Pinned, so that a new release of a tool changes no byte of an old release.
nfpm=github.com/goreleaser/nfpm/v2/cmd/nfpm@v2.45.2
cyclonedx=github.com/CycloneDX/cyclonedx-gomod/cmd/cyclonedx-gomod@v1.10.0

fail() {
	echo "error: $1" >&2
	echo "  hint: $2" >&2
	exit 2
}

version=${1-}
case $version in
[0-9]*.[0-9]*.[0-9]*) ;;
*) fail "invalid version \"$version\"" "for example: sh cmd/release.sh 1.2.0" ;;
esac
cd "$(dirname "$0")/.."
out=${2-release-$version}
if [ -e "$out" ]; then fail "$out is there already" "remove it or name another folder"; fi
mkdir -p "$out"
out=$(cd "$out" && pwd)
downloads=${RIPIENO_DOWNLOADS-https://downloads.invalid/ripieno/$version}
targets=${RIPIENO_TARGETS-"linux/amd64 linux/arm64 darwin/amd64 darwin/arm64 windows/amd64 windows/arm64"}

commit=$(git rev-parse HEAD)
seconds=$(git show -s --format=%ct HEAD)
day=$(TZ=UTC git show -s --format=%cd --date=format-local:%Y-%m-%d HEAD)
if [ -n "$(git status --porcelain --untracked-files=no)" ]; then
	echo "note: the folder has changes that are in no commit; this is no release to publish" >&2
	commit=$commit-changed
fi

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
trap 'exit 130' INT TERM
export SOURCE_DATE_EPOCH="$seconds" TZ=UTC LC_ALL=C
umask 022

go run ./cmd/pages "$work/pages" "$day"
gzip -9 -n -k "$work/pages/man/"*.1

# build OS ARCH FILE
build() {
	GOOS=$1 GOARCH=$2 GOAMD64=v1 CGO_ENABLED=0 go build -trimpath -buildvcs=false -ldflags "-s -w -buildid= \
		-X ripieno/assemble/build.version=$version -X ripieno/assemble/build.commit=$commit \
		-X ripieno/assemble/build.day=$day" -o "$3" ./cmd/ripieno
}

go build -trimpath -o "$work/pack" ./cmd/pack
for target in $targets; do
	system=${target%/*} cpu=${target#*/}
	name=ripieno-$version-$system-$cpu
	mkdir -p "$work/$name/man" "$work/$name/completions"
	cp README.md "$work/$name/"
	cp "$work/pages/man/"*.1 "$work/$name/man/"
	cp "$work/pages/completions/"* "$work/$name/completions/"
	program=ripieno archive=$name.tar.gz
	if [ "$system" = windows ]; then program=ripieno.exe archive=$name.zip; fi
	build "$system" "$cpu" "$work/$name/$program"
	"$work/pack" "$seconds" "$out/$archive" "$work/$name"

	if [ "$system" = linux ]; then
		# The licences that copyright files of packages have to state.
		{
			echo "ripieno $version"
			echo
			echo "ripieno itself: no licence was chosen yet, so nobody but its owners may pass it on."
			echo
			echo "What others made and is in the program:"
			echo
			for text in assemble/build/licences/*.txt; do
				echo "---- $(basename "$text" .txt)"
				echo
				cat "$text"
				echo
			done
		} >"$work/copyright"
		WORK=$work NAME=$name VERSION=$version CPU=$cpu DAY=$day
		export WORK NAME VERSION CPU DAY
		sed -e "s|@WORK@|$work|g" -e "s|@NAME@|$name|g" -e "s|@VERSION@|$version|g" -e "s|@CPU@|$cpu|g" \
			-e "s|@TIME@|${day}T00:00:00Z|g" cmd/nfpm.yaml >"$work/nfpm.yaml"
		go run "$nfpm" package --config "$work/nfpm.yaml" --packager deb --target "$out/" >&2
		go run "$nfpm" package --config "$work/nfpm.yaml" --packager rpm --target "$out/" >&2
	fi
done

# sum FILE: its SHA-256.
sum() {
	if command -v sha256sum >/dev/null; then sha256sum "$1" | cut -d ' ' -f 1; else shasum -a 256 "$1" | cut -d ' ' -f 1; fi
}

# What is in the program, on each system, as some modules are for one alone. A list's
# number is left out, since a drawn one would be another each time.
GOBIN=$work go install "$cyclonedx"
for system in linux darwin windows; do
	GOOS=$system GOARCH=amd64 CGO_ENABLED=0 "$work/cyclonedx-gomod" app -json -noserial -licenses -std \
		-main cmd/ripieno -output "$work/sbom.json" . >&2
	sed -e '/"timestamp":/d' "$work/sbom.json" >"$out/ripieno-$version-$system.cdx.json"
done

archive_sum() { if [ -f "$out/$1" ]; then sum "$out/$1"; else echo "not-made"; fi; }

cat >"$out/ripieno.rb" <<END
class Ripieno < Formula
  desc "Assembles split-screen performances from takes recorded at home"
  homepage "$downloads"
  version "$version"
  depends_on "ffmpeg"

END
for system in darwin linux; do
	word=macos
	if [ $system = linux ]; then word=linux; fi
	cat >>"$out/ripieno.rb" <<END
  on_$word do
    on_arm do
      url "$downloads/ripieno-$version-$system-arm64.tar.gz"
      sha256 "$(archive_sum "ripieno-$version-$system-arm64.tar.gz")"
    end
    on_intel do
      url "$downloads/ripieno-$version-$system-amd64.tar.gz"
      sha256 "$(archive_sum "ripieno-$version-$system-amd64.tar.gz")"
    end
  end

END
done
cat >>"$out/ripieno.rb" <<'END'
  def install
    bin.install "ripieno"
    man1.install Dir["man/*.1"]
    bash_completion.install "completions/ripieno.bash" => "ripieno"
    zsh_completion.install "completions/_ripieno"
    fish_completion.install "completions/ripieno.fish"
  end

  test do
    assert_match version.to_s, shell_output("#{bin}/ripieno version")
  end
end
END

# winget's manifest in one file, as its command "validate" reads it (schema 1.6, from
# memory).
cat >"$out/ripieno.winget.yaml" <<END
PackageIdentifier: Ripieno.Ripieno
PackageVersion: $version
PackageLocale: en-US
Publisher: Ripieno
PackageName: ripieno
License: see \`ripieno version --licences\`
ShortDescription: Assembles split-screen performances from takes recorded at home
InstallerType: zip
NestedInstallerType: portable
Dependencies:
  PackageDependencies:
    - PackageIdentifier: Gyan.FFmpeg
Installers:
END
for cpu in amd64 arm64; do
	word=x64
	if [ $cpu = arm64 ]; then word=arm64; fi
	cat >>"$out/ripieno.winget.yaml" <<END
  - Architecture: $word
    InstallerUrl: $downloads/ripieno-$version-windows-$cpu.zip
    InstallerSha256: $(archive_sum "ripieno-$version-windows-$cpu.zip")
    NestedInstallerFiles:
      - RelativeFilePath: ripieno-$version-windows-$cpu\\ripieno.exe
        PortableCommandAlias: ripieno
END
done
cat >>"$out/ripieno.winget.yaml" <<END
ManifestType: singleton
ManifestVersion: 1.6.0
END

cd "$out"
for file in *; do
	if [ "$file" != SHA256SUMS ]; then echo "$(sum "$file")  $file"; fi
done >"$work/SHA256SUMS"
cp "$work/SHA256SUMS" SHA256SUMS
cat SHA256SUMS
