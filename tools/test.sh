#!/bin/sh
# Everything that must hold, from a clean clone: makes .venv, installs with the dev extra, lint, types, tests.
#   tools/test.sh             all of it, and how much of the code and its branches the tests take
#   tools/test.sh quick       lint, types and the tests of the core and what it stands on
#   tools/test.sh -k limits   lint, types, and pytest with these arguments
#   tools/test.sh compiled [ARGUMENTS]   the same with the modules that tools/compile.sh made; else these are left alone
cd "$(dirname "$0")/.." || exit 2
. tools/common.sh
install "[dev]"
export ROVER_INTERPRETED=1
if [ "${1-}" = compiled ]; then
    shift
    unset ROVER_INTERPRETED
    case "$(.venv/bin/python -c 'from rover.core import step; print(step.__file__)')" in
    *.py) fail "There is no compiled build of these sources: make it with tools/compile.sh." ;;
    esac
    [ $# -gt 0 ] || set -- tests
fi
set -e
.venv/bin/ruff check .
.venv/bin/ruff format --check .
.venv/bin/mypy
case "${1-}" in
quick)
    shift
    exec .venv/bin/pytest -n 2 tests/core tests/errand tests/estimate tests/motion tests/files tests/link \
        tests/behaviour/test_rules*.py tests/behaviour/test_analysis.py \
        tests/test_quantities.py tests/test_imports.py tests/test_documentation.py tests/test_examples.py "$@"
    ;;
"")
    .venv/bin/pytest -n 2 -m "not long and not real_time"
    .venv/bin/pytest -n 2 -m "real_time and not long"  # with no computing beside: processes are held to deadlines
    # Measured in a pass of its own, over tests that neither start processes nor rehearse for minutes: what measures makes
    # those ten times as slow, and deadlines would be held against it.
    exec .venv/bin/pytest -n 2 -q --cov=rover --cov-report=term:skip-covered \
        tests/core tests/errand tests/estimate tests/motion tests/files tests/record tests/report tests/vision tests/devices \
        tests/behaviour/test_rules*.py tests/behaviour/test_analysis.py tests/behaviour/test_conditions.py tests/test_*.py \
        tests/link/test_codec.py tests/link/test_framing.py tests/link/test_clock.py tests/link/test_emulated_firmware.py \
        tests/guard/test_permission.py tests/guard/test_protocol.py tests/guard/test_actuators.py \
        tests/guard/test_device_time.py tests/guard/test_serial_output.py tests/guard/test_pin_output.py \
        tests/session/test_assembly.py tests/session/test_driver*.py tests/session/test_loop.py tests/session/test_guard_watch.py \
        tests/session/test_operator.py tests/session/test_terminal.py tests/session/test_saved_state.py \
        tests/readiness/test_before_start.py tests/bench tests/trials tests/calibrate \
        tests/commands/test_completion.py tests/commands/test_draw.py tests/commands/test_main.py \
        tests/commands/test_output.py tests/commands/test_schema.py tests/commands/test_show.py \
        tests/commands/test_true_places.py \
        --ignore=tests/core/test_determinism.py --ignore=tests/vision/test_rendered_frames.py \
        --ignore=tests/trials/test_cluster.py --ignore=tests/trials/test_side_by_side.py \
        --ignore=tests/calibrate/test_command.py --ignore=tests/calibrate/test_drive.py \
        --ignore=tests/calibrate/test_turn_centre.py
    ;;
esac
exec .venv/bin/pytest -n 2 "$@"
