#!/usr/bin/env bash
# Makes a virtual environment and installs pinned requirements into it.
# usage: environment.sh PYTHON VENV REQUIREMENTS...
# Some systems ship Python without the venv module's pip: then virtualenv, put into a folder of
# this project only, makes the environment instead.
set -euo pipefail
python=$1 venv=$2
shift 2

"$python" - <<'PY' || { echo "Beltside needs Python 3.11 or newer; call make with PYTHON=python3.11." >&2; exit 1; }
import sys
sys.exit(sys.version_info < (3, 11))
PY

if ! "$venv/bin/python" -m pip --version >/dev/null 2>&1; then
    rm -rf "$venv"
    if ! "$python" -m venv "$venv" 2>/dev/null; then
        rm -rf "$venv" .tools
        "$python" -m pip install --quiet --disable-pip-version-check --target .tools virtualenv
        PYTHONPATH=.tools "$python" -m virtualenv --quiet "$venv"
    fi
fi
arguments=()
for file in "$@"; do arguments+=(-r "$file"); done
# Without PYTHONPATH, so that pip does not take the source tree for an installed package.
env -u PYTHONPATH "$venv/bin/python" -m pip install --quiet --disable-pip-version-check "${arguments[@]}"
# The command `beltside` itself, from the source tree.
env -u PYTHONPATH "$venv/bin/python" -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --editable .
