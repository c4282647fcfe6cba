#!/usr/bin/env bash
# Makes a virtual environment and installs pinned requirements into it.
# usage: environment.sh PYTHON VENV REQUIREMENTS...
# An empty PYTHON means: the first of python3, python3.13, python3.12, python3.11 that will do.
# Some systems ship Python without a venv module that works: then virtualenv, put into a folder of
# this project only, makes the environment instead.
set -euo pipefail
given=$1 venv=$2
shift 2
# The source tree must not pass for an installed package.
unset PYTHONPATH
export PIP_DISABLE_PIP_VERSION_CHECK=1 PIP_ROOT_USER_ACTION=ignore

new_enough() { "$1" -c 'import sys; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1; }

python=
for name in ${given:-python3 python3.13 python3.12 python3.11}; do
    if new_enough "$name"; then python=$name && break; fi
done
if [ -z "$python" ]; then
    echo "Beltside needs Python 3.11 or newer, and ${given:-python3} is not." >&2
    echo "Where there is one, name it: make PYTHON=/path/to/python3.11 ..." >&2
    exit 1
fi

if ! "$venv/bin/python" -m pip --version >/dev/null 2>&1; then
    rm -rf "$venv"
    if ! "$python" -m venv "$venv" >/dev/null 2>&1; then
        rm -rf "$venv" .tools
        if ! "$python" -m pip install --quiet --target .tools -r requirements-virtualenv.txt; then
            echo "$python has neither a working venv module nor a working pip." >&2
            echo "Install them with your system's packages (on Debian: python3-venv)." >&2
            exit 1
        fi
        PYTHONPATH=.tools "$python" -m virtualenv --quiet "$venv"
        rm -rf .tools
    fi
fi
arguments=()
for file in "$@"; do arguments+=(-r "$file"); done
"$venv/bin/python" -m pip install --quiet "${arguments[@]}"
# The command `beltside` itself, from the source tree.
"$venv/bin/python" -m pip install --quiet --no-deps --no-build-isolation --editable .
