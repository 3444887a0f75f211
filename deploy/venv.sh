# Sourced from the project's folder: finds Python 3.11 or newer, makes .venv once, and says where it is in $VENV.
VENV="$PWD/.venv"
if ! "$VENV/bin/python" -c "" 2>/dev/null; then
    for python in python3 python3.14 python3.13 python3.12 python3.11 ""; do
        [ -n "$python" ] || { echo "Python 3.11 or newer is needed; install it, then run this again" >&2; exit 2; }
        "$python" -c "import sys; sys.exit(sys.version_info < (3, 11))" 2>/dev/null && break
    done
    "$python" -m venv "$VENV" || {
        echo "the virtual environment can't be made: on Debian run apt-get install python3-venv" >&2
        exit 2
    }
fi
