#!/bin/sh
# The test command: installs what the tests need, then runs all of them. Works as root or with sudo, on Debian or kin;
# elsewhere install mosquitto, PostgreSQL and Chromium first, and systemd for its systemd-analyze.
set -eu
cd "$(dirname "$0")/.."

have() { command -v "$1" >/dev/null 2>&1; }
missing=""
have mosquitto || [ -x /usr/sbin/mosquitto ] || missing="$missing mosquitto"
have initdb || ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1 || missing="$missing postgresql"
have chromium || have chromium-browser || have google-chrome || missing="$missing chromium"
have systemd-analyze || missing="$missing systemd"
if [ -n "$missing" ]; then
    have apt-get || { echo "tests/run.sh: install$missing first: there is no apt-get here" >&2; exit 2; }
    as_root=""
    [ "$(id -u)" = 0 ] || as_root=sudo
    echo "installing$missing" >&2
    $as_root apt-get update -qq
    # shellcheck disable=SC2086
    $as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $missing >/dev/null
fi

. deploy/venv.sh
"$VENV/bin/python" -m pip install -q --disable-pip-version-check -c tests/constraints.txt -e ".[dev]"
# a process a core, each file of tests in one of them
exec "$VENV/bin/python" -m pytest -n auto --dist loadfile "$@"
