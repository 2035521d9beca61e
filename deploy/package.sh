#!/usr/bin/env bash
# Packs a program that has been built into a Debian package:
#
#     deploy/package.sh PROGRAM ARCHITECTURE FOLDER
#
# PROGRAM is the release build for ARCHITECTURE, amd64 or arm64; the package is put into FOLDER, and its path is the last
# line printed. Needs cargo (for the manual pages and the list of libraries) and dpkg-dev. No root needed. A folder of
# manual pages and completions that is there already can be named in MISTWRIGHT_DOCUMENTS.
set -euo pipefail

if (($# != 3)); then
    sed -n '2,8s/^# \?//p' "${BASH_SOURCE[0]}" >&2
    exit 2
fi
program=$(realpath "$1") architecture=$2
mkdir -p "$3"
folder=$(realpath "$3")
cd "$(dirname "${BASH_SOURCE[0]}")/.."

case $architecture in
    amd64) triple=x86_64-unknown-linux-gnu machine='X86-64' ;;
    arm64) triple=aarch64-unknown-linux-gnu machine='AArch64' ;;
    *) echo "package.sh: no package is made for $architecture" >&2 && exit 2 ;;
esac
if ! readelf -h "$program" | grep -q "Machine:.*$machine"; then
    echo "package.sh: $program is not built for $architecture" >&2
    exit 1
fi

version=$(dpkg-parsechangelog -l deploy/debian/changelog -S Version)
if ! grep -qx "version = \"${version%%[-+~]*}\"" Cargo.toml; then
    echo "package.sh: deploy/debian/changelog says $version, and Cargo.toml another version" >&2
    exit 1
fi
# Every file carries the changelog's date, so that the same source gives the same package.
SOURCE_DATE_EPOCH=$(dpkg-parsechangelog -l deploy/debian/changelog -S Timestamp)
export SOURCE_DATE_EPOCH

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
root=$work/root
documents=${MISTWRIGHT_DOCUMENTS:-$work/documents}
if [[ ! -d $documents ]]; then
    cargo run --quiet --locked --features documents --bin mistwright-documents -- "$documents"
fi

put() { install -D -m "$1" "$2" "$root/$3"; }
packed() { gzip -9n <"$1" | install -D -m 644 /dev/stdin "$root/$2"; }

put 755 "$program" usr/bin/mistwright
put 644 deploy/mistwright.service usr/lib/systemd/system/mistwright.service
put 644 deploy/mistwright.sysusers usr/lib/sysusers.d/mistwright.conf
put 644 deploy/mistwright.yaml etc/mistwright/mistwright.yaml
put 644 "$documents/completions/mistwright.bash" usr/share/bash-completion/completions/mistwright
put 644 "$documents/completions/mistwright.fish" usr/share/fish/vendor_completions.d/mistwright.fish
put 644 "$documents/completions/_mistwright" usr/share/zsh/vendor-completions/_mistwright
for page in "$documents"/man/*.1; do
    packed "$page" "usr/share/man/man1/$(basename "$page").gz"
done
put 644 deploy/debian/copyright usr/share/doc/mistwright/copyright
put 644 deploy/debian/lintian-overrides usr/share/lintian/overrides/mistwright
packed deploy/debian/changelog usr/share/doc/mistwright/changelog.gz
packed README.md usr/share/doc/mistwright/README.md.gz
for example in examples/*; do
    put 644 "$example" "usr/share/doc/mistwright/$example"
done
cargo tree --quiet --locked --target "$triple" --edges normal --prefix none --format '{p}: {l}' |
    sed -n -e 's/ (proc-macro)//' -e '/^mistwright /d' -e 's/ (\*)$//p' -e t -e p | sort -u >"$work/crates.txt"
packed "$work/crates.txt" usr/share/doc/mistwright/crates.txt.gz

# What the program is linked to says what the package depends on.
needed=$(readelf -d "$program" | sed -n 's/.*(NEEDED).*\[\(.*\)\]$/\1/p')
for library in $needed; do
    case $library in
        libc.so.6 | libm.so.6 | libgcc_s.so.1 | ld-linux-*) ;;
        *) echo "package.sh: no dependency is written down for $library" >&2 && exit 1 ;;
    esac
done
# Packed relocations have a name there instead of the number of the release that brought them.
libc=$(readelf -V "$program" | grep -oE 'GLIBC_([0-9.]+|ABI_DT_RELR)' | sed 's/ABI_DT_RELR/2.36/' | sort -V | tail -n 1)

mkdir "$root/DEBIAN"
for script in postinst prerm postrm; do
    install -m 755 "deploy/debian/$script" "$root/DEBIAN/$script"
done
echo /etc/mistwright/mistwright.yaml >"$root/DEBIAN/conffiles"
(cd "$root" && find etc usr -type f -print0 | sort -z | xargs -0 md5sum) >"$root/DEBIAN/md5sums"
size=$(du -k -s --apparent-size --exclude=DEBIAN "$root" | cut -f 1)
sed -e "s/@VERSION@/$version/" -e "s/@ARCHITECTURE@/$architecture/" -e "s/@SIZE@/$size/" \
    -e "s/@LIBC@/${libc#GLIBC_}/" deploy/debian/control.in >"$root/DEBIAN/control"
chmod 644 "$root"/DEBIAN/{conffiles,md5sums,control}
find "$root" -exec touch --no-dereference --date="@$SOURCE_DATE_EPOCH" {} +

package=$folder/mistwright_${version}_$architecture.deb
dpkg-deb --root-owner-group -Zxz --build "$root" "$package" >/dev/null
echo "$package"
