#!/bin/sh
# Compiles the modules in which a step spends its time, with mypyc, for the Python of .venv: rehearsals and trials then take
# half the time, and everything else is as before. Takes some minutes; the board and the laptop compile each for itself.
#   tools/compile.sh          once, and again after an edit: edited sources run interpreted, and say so
#   tools/compile.sh --clean  back to the interpreter alone
cd "$(dirname "$0")/.." || exit 2
. tools/common.sh
install "[dev]"
exec .venv/bin/python tools/compiled/build.py "$@"
