#!/bin/sh
# Everything that must hold, from a clean clone: makes .venv, installs with the dev extra, lint, types, tests.
cd "$(dirname "$0")/.." || exit 2
. tools/common.sh
install "[dev]"
set -e
.venv/bin/ruff check .
.venv/bin/ruff format --check .
.venv/bin/mypy
.venv/bin/pytest -n 2 "$@"
