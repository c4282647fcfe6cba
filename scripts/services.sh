#!/usr/bin/env bash
# Installs the programs that tests talk to and that no Python package brings: PostgreSQL (the tests
# start their own server from it), a browser, and tools that look into PDF files.
# usage: services.sh
# Quick when all is there. Otherwise it needs a Debian system and root.
set -euo pipefail

declare -A package_of=(
    [chromium]=chromium
    [pdftotext]=poppler-utils
    [qpdf]=qpdf
    [fc-list]=fontconfig
)
missing=()
if ! command -v pg_ctl >/dev/null && ! compgen -G "/usr/lib/postgresql/*/bin/pg_ctl" >/dev/null; then
    missing+=(postgresql)
fi
for program in "${!package_of[@]}"; do
    command -v "$program" >/dev/null || missing+=("${package_of[$program]}")
done
# A browser without a font shows nothing.
if ! compgen -G "/usr/share/fonts/truetype/dejavu/*.ttf" >/dev/null; then
    missing+=(fonts-dejavu-core)
fi
[ ${#missing[@]} -eq 0 ] && exit 0

if ! command -v apt-get >/dev/null; then
    echo "The tests need ${missing[*]} (Debian's names), and this system has no apt-get." >&2
    echo "Install them with your system's own tool, then run the tests again." >&2
    exit 1
fi
if [ "$(id -u)" -ne 0 ]; then
    echo "The tests need ${missing[*]}, and only root can install them. Run once:" >&2
    echo "    sudo apt-get install --no-install-recommends ${missing[*]}" >&2
    exit 1
fi
export DEBIAN_FRONTEND=noninteractive
install_missing() { apt-get install -y -qq --no-install-recommends "${missing[@]}" >/dev/null; }
# The lists of packages may be missing or old: fetch them, and once more if that did not help.
if ! { apt-get update -qq && install_missing; }; then
    sleep 5
    apt-get update -qq
    if ! install_missing; then
        echo "apt-get could not install ${missing[*]}; see above." >&2
        exit 1
    fi
fi
