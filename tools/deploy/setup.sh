#!/bin/sh
# Puts the runtime on this computer as a service: user, groups, files. May be run again at any time.
#
# Usage: setup.sh [--dry-run]     --dry-run: print what would be done, do nothing
# PYTHON=... names another interpreter than /usr/bin/python3; the service cannot read one that is in a home folder.
set -eu

here=$(cd "$(dirname "$0")" && pwd)
checkout=$(cd "$here/../.." && pwd)
python=${PYTHON:-/usr/bin/python3}
dry_run=false

fail() {
    echo "setup.sh: $1" >&2
    exit 2
}

case "${1-}" in
    '') ;;
    --dry-run) dry_run=true ;;
    -h | --help) sed -n '2,5s/^# \{0,1\}//p' "$0"; exit 0 ;;
    *) fail "unknown option '$1'; the only one is --dry-run" ;;
esac

if ! $dry_run && [ "$(id -u)" -ne 0 ]; then
    fail "this needs root: run 'sudo $0', or '$0 --dry-run' to see what it would do"
fi

# Do a step, or print it.
step() {
    if $dry_run; then echo "would run: $*"; else "$@"; fi
}

keep() {
    echo "there already: $1"
}

make_group() {
    if getent group "$1" >/dev/null; then keep "group $1"; else step groupadd --system "$1"; fi
}

make_user() {
    if getent passwd rover >/dev/null; then
        keep "user rover"
    else
        step useradd --system --gid rover --home-dir /var/lib/rover --shell /usr/sbin/nologin rover
    fi
    step usermod --append --groups dialout,video,gpio rover
}

# Install a file of ours unless the one in place is the same.
install_file() {
    if cmp -s "$1" "$2"; then keep "$2"; else step install -D --mode=644 "$1" "$2"; fi
}

# Files that a person edits are copied once and never touched again.
copy_once() {
    if [ -e "$2" ]; then keep "$2"; else step cp -R "$1" "$2"; fi
}

for group in rover dialout video gpio; do
    make_group "$group"
done
make_user

step install -d --mode=755 /etc/rover
step install -d --mode=755 --owner=rover --group=rover /var/lib/rover /var/lib/rover/runs
copy_once "$checkout/config" /etc/rover/config
copy_once "$checkout/behaviours" /etc/rover/behaviours

if [ -x /opt/rover/bin/python ]; then keep /opt/rover; else step "$python" -m venv /opt/rover; fi
# Built from a copy: root would leave files in the checkout that its owner cannot remove.
step rm -rf /opt/rover/source
step install -d /opt/rover/source
step cp -R "$checkout/rover" "$checkout/pyproject.toml" "$checkout/README.md" "$checkout/LICENSE" /opt/rover/source
step /opt/rover/bin/python -m pip install --quiet --upgrade -c "$checkout/constraints.txt" "/opt/rover/source[gpio,vision]"
step rm -rf /opt/rover/source

install_file "$here/70-rover.rules" /etc/udev/rules.d/70-rover.rules
install_file "$here/rover.service" /etc/systemd/system/rover.service
if $dry_run || [ -e /run/udev/control ]; then
    step udevadm control --reload
    step udevadm trigger --subsystem-match=tty --subsystem-match=video4linux --subsystem-match=gpio \
        --subsystem-match=pwm --subsystem-match=watchdog
    step udevadm trigger --subsystem-match=misc --sysname-match=watchdog
else
    echo "no udev here: the device rules take effect where it runs"
fi
step systemctl daemon-reload
step systemctl enable rover.service

if [ ! -e /etc/rover/config/errand.yaml ]; then
    echo "next: write /etc/rover/config/errand.yaml and the robot file it names, then 'rover check' it;"
    echo "      without it the service does not start"
fi
