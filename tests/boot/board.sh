#!/usr/bin/env bash
# Boots an emulated arm64 board (one Cortex-A53 core, 512 MB, a clock that starts in 2001) and has check.sh judge the package
# there:
#
#     tests/boot/board.sh PACKAGE
#
# Needs root, and on Debian the packages mmdebstrap, arch-test, qemu-user-static, binfmt-support, qemu-system-arm and
# e2fsprogs. The first run makes the board's root file system, which takes several minutes; it is kept in target/boot.
# Everything is emulated, so its times say nothing about a real board's speed. Exits 0 if every claim holds.
set -euo pipefail
here=$(dirname "$(realpath "${BASH_SOURCE[0]}")")
. "$here/image.sh"
package=$(realpath "$1")
cd "$here/../.."

work=$(mktemp -d)
trap 'rm -rf --one-file-system "$work"' EXIT
began=$SECONDS
archive=target/boot/arm64.tar
if [[ ! -e $archive ]]; then
    # Another architecture's programs have to run while their packages are configured.
    if [[ $(dpkg --print-architecture) != arm64 ]]; then update-binfmts --enable qemu-aarch64; fi
    image_root arm64 "$archive" linux-image-cloud-arm64,initramfs-tools
fi
mkdir "$work/root"
tar -C "$work/root" -xf "$archive"
image_fill "$work/root" "$package"
# Long enough for two states to be written.
export MEASURE_FOR=${MEASURE_FOR:-380} PATIENCE=4
image_check_unit "$work/root" append:/dev/ttyAMA0 \
    "/bin/bash /check/check.sh /check/$(basename "$package") /check/later.deb"
# The console is for the report.
ln -sf /dev/null "$work/root/etc/systemd/system/serial-getty@.service"
cp "$work"/root/boot/vmlinuz-* "$work/kernel"
cp "$work"/root/boot/initrd.img-* "$work/initrd"
mke2fs -q -t ext4 -d "$work/root" "$work/disk" 2G
rm -rf "$work/root"
printf 'the image is made: %d s\n' $((SECONDS - began))

began=$SECONDS
status=0
timeout --kill-after=10 2400 qemu-system-aarch64 -machine virt -cpu cortex-a53 -smp 1 -m 512 -nic none \
    -kernel "$work/kernel" -initrd "$work/initrd" -append 'root=/dev/vda rw console=ttyAMA0 quiet' \
    -drive "file=$work/disk,format=raw,if=virtio" -rtc base=2001-01-01T00:00:00 \
    -display none -monitor none -serial stdio -no-reboot </dev/null | stdbuf -oL tr -d '\r' | tee "$work/console" || status=$?
printf 'booted, checked and switched off: %d s\n' $((SECONDS - began))
if ! grep -q '^[1-9][0-9]* passed, 0 failed$' "$work/console"; then
    echo "the check did not pass (the emulator ended with $status)" >&2
    exit 1
fi
