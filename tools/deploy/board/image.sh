#!/bin/sh
# Builds what the emulated board boots from, in FOLDER: a disk of Debian 12 for 64-bit ARM, its kernel and initial disk.
# Usage: image.sh FOLDER     needs root, mmdebstrap, arch-test, qemu-user-static with binfmt-support, e2fsprogs
set -eu

folder=$1
root=$folder/root
rm -rf "$folder/overlay"
mkdir -p "$folder/overlay/etc/initramfs-tools/conf.d" "$folder/overlay/etc/initramfs-tools/hooks"
# Only what the board's disk needs: to look through all modules takes an hour on an emulated processor.
cat >"$folder/overlay/etc/initramfs-tools/conf.d/board.conf" <<EOF
MODULES=list
COMPRESS=gzip
FSTYPE=ext4
EOF
cat >"$folder/overlay/etc/initramfs-tools/hooks/board" <<'EOF'
#!/bin/sh
[ "$1" = prereqs ] && exit 0
. /usr/share/initramfs-tools/hook-functions
manual_add_modules virtio_pci virtio_mmio virtio_blk ext4
EOF
chmod +x "$folder/overlay/etc/initramfs-tools/hooks/board"

mmdebstrap --architectures=arm64 --variant=minbase --aptopt='APT::Install-Recommends "false"' \
    --include=systemd-sysv,udev,dbus,kmod,linux-image-arm64,initramfs-tools,python3,python3-venv \
    --include=openssh-server,iproute2,systemd-timesyncd,sudo,procps \
    --essential-hook="sync-in '$folder/overlay' /" bookworm "$root"
