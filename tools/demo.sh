#!/bin/sh
# The greenhouse errand on the bench, from a clean clone: makes .venv, installs, runs, and says where the report lies.
cd "$(dirname "$0")/.." || exit 2
. tools/common.sh
install ""
.venv/bin/rover rehearse config/greenhouse.yaml --seed "${SEED:-1}" "$@"
code=$?
record=$(ls -t runs/greenhouse-*.sqlite 2>/dev/null | head -n 1)
if [ -n "$record" ]; then
    .venv/bin/rover report "$record" || exit $?
fi
exit $code
