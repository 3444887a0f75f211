#!/bin/sh
# Try wallclime: a daemon with a broker of its own, an invented job, 72 hours of an invented room, then live readings.
# Needs Python 3.11 or newer and nothing else. --once ends after the report. All it makes is in .venv and .trial.
set -eu
cd "$(dirname "$0")/.."
once=no
[ "${1:-}" = "--once" ] && once=yes

. deploy/venv.sh
if [ ! -x "$VENV/bin/wallclime" ] || [ pyproject.toml -nt "$VENV/.installed" ]; then
    echo "installing into .venv (once)"
    "$VENV/bin/python" -m pip install -q --disable-pip-version-check -c tests/constraints.txt -e ".[broker]"
    touch "$VENV/.installed"
fi

home="$PWD/.trial"
job="Cedar Row 4, hall wall (invented)"
wallclime() { "$VENV/bin/wallclime" --home "$home" "$@"; }
ago() { "$VENV/bin/python" -c "import datetime as d; print((d.datetime.now(d.UTC) - d.timedelta(hours=$1)).isoformat())"; }

mkdir -p "$home"
port=$("$VENV/bin/python" -c "import socket; s = socket.socket(); s.bind(('127.0.0.1', 0)); print(s.getsockname()[1])")
cat > "$home/wallclime.toml" <<TOML
# Written by deploy/try.sh for a trial on this computer alone.
[broker]
port = $port
[service]
judge_every = "5 s"
[log]
level = "warning"
TOML

wallclime serve --embedded-broker 2>"$home/daemon.log" &
daemon=$!
trap 'kill $daemon 2>/dev/null || true; wait $daemon 2>/dev/null || true' EXIT
trap 'exit 130' INT TERM

first=no
if ! wallclime job show "$job" >/dev/null 2>&1; then
    first=yes
    wallclime job open "$job" --zone America/New_York --length "16 ft 4 in" --height "8 ft" --boxes-place "Cedar Row 4, hall" --who "Robin Vale (invented)"
    for sensor in hall-low hall-high; do
        wallclime sensor add "$sensor" --topic "site/$sensor/climate" --hold "30 min" --who "Robin Vale (invented)"
        wallclime sensor assign "$sensor" --job "$job" --at "$(ago 73)" --who "Robin Vale (invented)" \
            --height "1 ft" --near "the boxes; no heater, no window"
    done
    wallclime log deliver "$job" --at "$(ago 72)" --boxes 14 --lot B7 --who "Robin Vale (invented)"
    echo "publishing 72 stamped hours of an invented room over MQTT"
    wallclime simulate --sensor hall-low --sensor hall-high --hours 72 --seed 4
    kill $daemon && wait $daemon || true # it keeps what it has heard before it goes
    wallclime serve --embedded-broker 2>>"$home/daemon.log" &
    daemon=$!
else
    echo "the trial of before goes on: $home"
fi

wallclime status "$job"
wallclime report "$job" -o "$home/report.html"
echo "the report is $home/report.html"
[ "$once" = no ] || exit 0
echo "going on live, a reading a minute; Ctrl-C ends it. In another window:"
echo "  $VENV/bin/wallclime --home $home status '$job'"
wallclime simulate --sensor hall-low --sensor hall-high --hours 0 --live --every "60 s" --seed 5
