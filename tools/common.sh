# Shared by demo.sh and test.sh: find Python, make .venv, install into it.

fail() {
    echo "$*" >&2
    exit 2
}

find_python() {
    for name in "${PYTHON:-python3}" python3.13 python3.12 python3.11; do
        if command -v "$name" >/dev/null 2>&1 &&
            "$name" -c 'import sys; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1; then
            echo "$name"
            return
        fi
    done
    fail "Python 3.11 or newer is missing: install it (on Debian: apt install python3 python3-venv) and try again."
}

# install EXTRA: makes .venv once and installs the project with an extra ('' for none), as constraints.txt pins it.
# A stamp in .venv says that this was done since these files changed.
install() {
    stamp=.venv/installed$1
    if [ "$stamp" -nt pyproject.toml ] && [ "$stamp" -nt constraints.txt ] && [ -x .venv/bin/python ]; then
        return
    fi
    python=$(find_python) || exit 2
    if [ ! -x .venv/bin/python ]; then
        "$python" -m venv .venv >/dev/null 2>&1 || {
            rm -rf .venv
            fail "The venv module of Python is missing: install it (on Debian: apt install python3-venv) and try again."
        }
    fi
    log=.venv/install.log
    if ! .venv/bin/python -m pip install --quiet --disable-pip-version-check -c constraints.txt -e ".$1" >"$log" 2>&1; then
        # The cause stands anywhere in what pip says: its own errors first, then the end.
        { grep -i -E '^ *(error|fatal|[a-z.]*(error|exception)):' "$log"; tail -n 15 "$log"; } | awk '!seen[$0]++' >&2
        fail "Installing failed (above; all of it is in $log). If nothing was found there: is the package index reachable?"
    fi
    touch "$stamp"
}
