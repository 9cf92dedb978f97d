#!/bin/sh
# Everything that must hold, from a clean clone: makes .venv, installs with the dev extra, lint, types, tests.
#   tools/test.sh             all of it, and how much of the code and its branches the tests take
#   tools/test.sh quick       lint, types and the tests of the core and what it stands on
#   tools/test.sh -k limits   lint, types, and pytest with these arguments
cd "$(dirname "$0")/.." || exit 2
. tools/common.sh
install "[dev]"
set -e
.venv/bin/ruff check .
.venv/bin/ruff format --check .
.venv/bin/mypy
case "${1-}" in
quick)
    shift
    set -- tests/core tests/errand tests/estimate tests/motion tests/files tests/link \
        tests/behaviour/test_rules*.py tests/behaviour/test_analysis.py \
        tests/test_quantities.py tests/test_imports.py tests/test_documentation.py tests/test_examples.py "$@"
    ;;
"")
    set -- --cov=rover --cov-report=term:skip-covered
    ;;
esac
exec .venv/bin/pytest -n 2 "$@"
