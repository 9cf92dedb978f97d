#!/bin/sh
# The service on a real systemd: a Debian 12 in a container, where setup.sh installs this checkout, and trials.py kills it.
#
# Usage: in_container.sh FOLDER [options of trials.py]
# FOLDER is kept: the second time the system in it is there already. Needs root, and of Debian's packages mmdebstrap and
# systemd-container. Ends with 1 when a trial came out otherwise than it must.
set -eu

here=$(cd "$(dirname "$0")" && pwd)
checkout=$(cd "$here/../../.." && pwd)

fail() {
    echo "in_container.sh: $1" >&2
    exit 2
}

[ $# -ge 1 ] || fail "name a folder for the container's system"
[ "$(id -u)" -eq 0 ] || fail "this needs root"
for program in mmdebstrap systemd-nspawn nsenter; do
    command -v "$program" >/dev/null || fail "$program is missing: apt install mmdebstrap systemd-container util-linux"
done
mkdir -p "$1"
folder=$(cd "$1" && pwd)
root=$folder/root
shift

if [ ! -e "$root/srv/wheels" ]; then
    [ ! -e "$root" ] || fail "$root is half made: look whether something is mounted in it, then remove it"
    mmdebstrap --variant=minbase --aptopt='APT::Install-Recommends "false"' \
        --include=systemd-sysv,dbus,python3,python3-venv,procps bookworm "$root"
    python3 -m pip download --quiet --only-binary=:all: --python-version 3.11 --platform "manylinux_2_28_$(uname -m)" \
        --platform "manylinux2014_$(uname -m)" -c "$checkout/constraints.txt" --dest "$folder/wheels" \
        click numpy pydantic pyserial pyyaml transitions gpiod opencv-python-headless 'setuptools>=77' wheel
    printf '[global]\nno-index = true\nfind-links = /srv/wheels\n' >"$root/etc/pip.conf"
    mv "$folder/wheels" "$root/srv/wheels"
fi
rm -rf "$root/srv/checkout"
mkdir "$root/srv/checkout"
(cd "$checkout" && git ls-files -co --exclude-standard | tar -c -T -) | tar -x --no-same-owner -C "$root/srv/checkout"

systemd-nspawn --register=no --keep-unit --quiet --directory="$root" --boot </dev/null >"$folder/boot.log" 2>&1 &
container=$!
trap 'inside systemctl poweroff >/dev/null 2>&1 || true; wait $container || true' EXIT

# Run a command in the container.
inside() {
    nsenter --all --target "$leader" -- env -i PATH=/usr/sbin:/usr/bin:/sbin:/bin HOME=/root LC_ALL=C.UTF-8 "$@"
}

for _ in $(seq 120); do
    sleep 1
    leader=$(ps -o pid= --ppid "$container" | tr -d ' ')
    [ -n "$leader" ] || continue
    case $(inside systemctl is-system-running 2>/dev/null) in running | degraded) break ;; esac
done
[ -n "$leader" ] || fail "the container does not boot; $folder/boot.log says why"

inside /srv/checkout/tools/deploy/setup.sh
left=$(inside find /srv/checkout -name build -o -name '*.egg-info')
[ -z "$left" ] || fail "setup.sh left in the checkout: $left"
inside systemd-analyze verify rover.service
inside python3 /srv/checkout/tools/deploy/trial/trials.py /srv/checkout "$@"
