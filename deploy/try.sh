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
heard() { wallclime sensor seen --json | "$VENV/bin/python" -c "import json, sys; print(sum(s['readings'] for s in json.load(sys.stdin)))"; }
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

"$VENV/bin/wallclime" --home "$home" serve --embedded-broker 2>"$home/daemon.log" &
daemon=$!
trap 'kill $daemon 2>/dev/null && wait $daemon' EXIT
trap 'exit 130' INT TERM

if ! wallclime job show "$job" >/dev/null 2>&1; then
    who="Robin Vale (invented)"
    wallclime job open "$job" --zone America/New_York --length "16 ft 4 in" --height "8 ft" --who "$who"
    for sensor in hall-boxes hall-door; do
        wallclime sensor add "$sensor" --topic "site/$sensor/climate" --hold "30 min" --who "$who"
        wallclime sensor assign "$sensor" --job "$job" --at "$(ago 72)" --height "1 ft" --near "the boxes" --who "$who"
    done
    wallclime log deliver "$job" --at "$(ago 72)" --boxes 14 --lot B7 --unopened --flat --wrapped --stack-height "1 ft" \
        --box-temperature "52 degF" --who "$who"
    echo "publishing 72 stamped hours of an invented room over MQTT"
    wallclime simulate --sensor hall-boxes --sensor hall-door --hours 72 --zone America/New_York \
        --event "heating-failure at 0 h for 30 min" --event "door at 10 h for 150 min" --event "outage at 30 h for 2 h"
    known=-1
    while [ "$known" != "$(heard)" ]; do # the daemon keeps what it hears in batches
        known=$(heard)
        sleep 1
    done
else
    echo "the trial of before goes on; remove $home to begin again"
fi

wallclime status "$job"
wallclime report "$job" -o "$home/report.html"
echo "the report is $home/report.html"
[ "$once" = no ] || exit 0
echo "going on live, a reading a minute; Ctrl-C ends it. In another window:"
echo "  $VENV/bin/wallclime --home $home status '$job'"
wallclime simulate --sensor hall-boxes --sensor hall-door --hours 0 --live --zone America/New_York
