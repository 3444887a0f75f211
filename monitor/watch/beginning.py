"""A first run: the home is made for a broker that is there, or for one of our own that the sensors reach."""

from __future__ import annotations

import os
import secrets
import socket
from pathlib import Path

from monitor.basis.errors import SettingsError, StoreError
from monitor.config.settings import load_settings, starter_for
from monitor.watch.desk import make_home, write_starter

PASSWORD = "broker.password"
_SIGNS = "abcdefghkmnpqrstuvwxyz23456789"  # none that is taken for another
_PORT = 1883
_EVERYWHERE = "0.0.0.0"


def begin_at(home: Path, text: str) -> list[str]:
    """Write wallclime.toml for the broker at `text`, HOST or HOST:PORT, unless it names that one already; what to say.

    Raises SettingsError, StoreError.
    """
    host, _, port = text.rpartition(":") if text.count(":") == 1 else (text, "", str(_PORT))
    if not host.strip() or not host.isprintable() or not port.isdecimal() or not 0 < int(port) < 65_536:
        raise SettingsError(
            f"{text!r} is not a broker", where="--broker", mend="Write HOST or HOST:PORT, such as 192.168.1.5:1883"
        )
    if (home / "wallclime.toml").exists():
        broker = load_settings(home, os.environ).broker
        if (broker.host, broker.port) == (host, int(port)):
            return []
    return [f"wrote {write_starter(home, text=starter_for(host, int(port)))}"]


def begin_here(home: Path, port: int = _PORT) -> list[str]:
    """Make the home ready for a broker of our own that asks for a password; what is to be typed into the sensors.

    Where it was made before, nothing is changed. Raises SettingsError where wallclime.toml names another broker.
    """
    path = home / "wallclime.toml"
    if path.exists():
        broker = load_settings(home, os.environ).broker
        if broker.host != _EVERYWHERE or not broker.user:
            mend = f'Say serve --embedded-broker, or set host = "{_EVERYWHERE}", user and password_file there'
            raise SettingsError("it was not made for --broker-here", where=str(path), mend=mend)
        return [
            f"sensors: server {own_address()}, port {broker.port}, user {broker.user}, password in {home / PASSWORD}"
        ]
    password = "-".join("".join(secrets.choice(_SIGNS) for _ in range(4)) for _ in range(3))
    _write_secret(home, password)
    write_starter(home, text=starter_for(_EVERYWHERE, port, password=True))
    return [
        f"type into the sensors: server {own_address()}, port {port}, user wallclime, password {password}",
        f"it stands in {home / PASSWORD}; readings and password cross the network unencrypted",
    ]


def own_address() -> str:
    """The address under which this computer is reached from its network; its name where it has none."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        try:
            asked.connect(("192.0.2.1", 9))  # RFC 5737: nobody's; nothing is sent, only the way there is looked up
            return str(asked.getsockname()[0])
        except OSError:
            return socket.gethostname()


def _write_secret(home: Path, password: str) -> None:
    make_home(home)
    path = home / PASSWORD
    try:
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as file:
            file.write(f"{password}\n")
    except FileExistsError:
        mend = "Move it away first; or write wallclime.toml for the broker that it is of"
        raise SettingsError("it is there already", where=str(path), mend=mend) from None
    except OSError as exc:
        mend = "Choose another folder with --home DIR"
        raise StoreError(f"it can't be written ({exc.strerror})", where=str(path), mend=mend) from exc
