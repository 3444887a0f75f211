"""The MQTT client of one broker, ready to connect, and what to say when it can't."""

from __future__ import annotations

import logging
import socket
import ssl
from collections.abc import Iterable, Sequence
from typing import Any

from paho.mqtt.client import Client, MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from monitor.basis.errors import BrokerError
from monitor.basis.times import SECOND
from monitor.config.brokers import Broker, Tls
from monitor.config.settings import Service

PIECE = 65_536  # read from the link at once [bytes]

_LARGEST_WINDOW = 65_535  # MQTT 5 section 3.1.2.11.3
_UNSUPPORTED = 132  # "Unsupported Protocol Version", MQTT 5 section 3.2.2.2
_CHECK_NAME = "Mend host in wallclime.toml, or give the broker a certificate of that name"
_CHECK_TIME = "Renew the broker's certificate, or set this computer's clock"
_UNTRUSTED = {9: _CHECK_TIME, 10: _CHECK_TIME, 62: _CHECK_NAME, 64: _CHECK_NAME}  # OpenSSL, x509_vfy.h
_START = "Start the broker, or mend host and port in wallclime.toml"


class Wire:
    """A socket that reads ahead: paho asks it for the head of every packet byte by byte."""

    _room: memoryview | None = None
    _at = _end = 0  # what is read ahead stands there from _at to _end

    def recv(self, size: int, flags: int = 0) -> bytes:
        """At most `size` bytes; b"" at the end of the link."""
        if self._room is None:  # one for the life of the link: a new one for each reading would leave holes in the heap
            self._room = memoryview(bytearray(PIECE))
        if self._at == self._end:
            self._at, self._end = 0, super().recv_into(self._room, PIECE, flags)  # type: ignore[misc]
        begin, self._at = self._at, min(self._at + size, self._end)
        return self._room[begin : self._at].tobytes()

    def waiting(self) -> bool:
        """Whether there is something to read that `select` does not see."""
        return self._at < self._end


class PlainWire(Wire, socket.socket):
    """A link without TLS."""


class TlsWire(Wire, ssl.SSLSocket):  # type: ignore[misc]  # SSLSocket calls the size buflen
    """A link with TLS, which does not stay open when TLS can't be agreed on: paho forgets it then."""

    def waiting(self) -> bool:
        """Whether there is something to read that `select` does not see."""
        return super().waiting() or self.pending() > 0

    def do_handshake(self, block: bool = False) -> None:
        """Agree on TLS, or be closed. Raises OSError."""
        try:
            super().do_handshake(block)
        except OSError:
            self.close()
            raise


class _Client(Client):
    """Paho's client over a `Wire`. Where paho makes its socket elsewhere, it works as before and reads slower."""

    def _create_socket(self) -> Any:
        made: Any = super()._create_socket()
        if isinstance(made, Wire):
            return made
        wire = PlainWire(fileno=made.detach())
        wire.settimeout(self.connect_timeout)
        return wire


class Said(logging.Logger):
    """The last error that the client wrote to its log: paho tells there, and nowhere else, why a link ended."""

    def __init__(self) -> None:
        super().__init__("paho")
        self._text = ""

    def log(self, level: int, msg: object, *args: object, **_: Any) -> None:
        """Keep an error; paho has something to say of every message too, which is not even looked at."""
        if level >= logging.ERROR:
            error = args[0] if args else msg
            self._text = reason_of(error) if isinstance(error, OSError) else str(error)

    def take(self) -> str:
        """What was said since the last call, or ""."""
        text, self._text = self._text, ""
        return text


def reason_of(error: OSError) -> str:
    """The error in its own words, without numbers and names of C files."""
    if isinstance(error, ssl.SSLCertVerificationError):
        return error.verify_message.rstrip(".")
    if isinstance(error, ssl.SSLError) and error.reason:
        return error.reason.lower().replace("_", " ")
    return error.strerror or str(error)


def presence_topic(broker: Broker) -> str:
    """Where it stands whether a daemon of this client id is there: "online" or "offline", retained."""
    return f"wallclime/{broker.client_id}/presence"


def introduce(client: Client, broker: Broker) -> None:
    """Give a client what the broker asks for: user, password, certificates. Raises BrokerError."""
    if broker.user is not None:
        client.username_pw_set(broker.user, broker.password)
    if broker.tls is not None:
        client.tls_set_context(tls_context(broker))


def make_client(broker: Broker, service: Service) -> tuple[Client, Said]:
    """A client with a session that the broker keeps, manual acknowledgements and a last will. Raises BrokerError."""
    five = broker.protocol == "5"
    client = _Client(
        CallbackAPIVersion.VERSION2,
        client_id=broker.client_id,
        clean_session=None if five else False,
        protocol=MQTTv5 if five else MQTTv311,
        reconnect_on_failure=False,
        manual_ack=True,
    )
    said = Said()
    client.enable_logger(said)
    introduce(client, broker)
    client.will_set(presence_topic(broker), "offline", qos=1, retain=True)
    # Half of it: after so long without a word a ping goes out, and after as long without an answer the link is dead.
    keepalive = max(1, broker.keepalive // (2 * SECOND))
    # Not clean, ever: by default the first connection of a process would throw away what waits (MQTT 5).
    more: dict[str, Any] = {"clean_start": False, "properties": _session(service)} if five else {}
    client.connect_async(broker.host, broker.port, keepalive=keepalive, **more)
    return client, said


def _session(service: Service) -> Properties:
    """MQTT 5: a session ends with its link unless we say how long it is kept: as long as what waits in it is taken."""
    properties = Properties(PacketTypes.CONNECT)
    properties.SessionExpiryInterval = service.back_fill // SECOND
    properties.ReceiveMaximum = min(2 * service.batch, _LARGEST_WINDOW)  # so that a full batch is half of it
    return properties


def subscribe(client: Client, broker: Broker, filters: Iterable[str], dropped: Sequence[str] = ()) -> None:
    """Subscribe with QoS 1, and no more to `dropped`, which a session that was taken up may hear still.

    In MQTT 5 retained messages come only where the broker had forgotten the subscription.
    """
    if broker.protocol == "5":
        options = SubscribeOptions(qos=1, retainHandling=SubscribeOptions.RETAIN_SEND_IF_NEW_SUB)
        client.subscribe([(filter_, options) for filter_ in filters])
    else:
        client.subscribe([(filter_, 1) for filter_ in filters])
    if dropped:
        client.unsubscribe(list(dropped))


def tls_context(broker: Broker) -> ssl.SSLContext:
    """What TLS needs to know of a broker with `tls`. Raises BrokerError for files that are no certificates or keys."""
    tls = broker.tls or Tls()
    ca = tls.ca_file
    try:
        context = ssl.create_default_context(cafile=None if ca is None else str(ca))
    except (ssl.SSLError, OSError) as exc:
        mend = "Give the certificates in PEM, one after the other"
        raise BrokerError(f"{ca} holds no certificates", where=_where(broker), mend=mend) from exc
    context.sslsocket_class = TlsWire
    if tls.cert_file is not None:
        try:
            context.load_cert_chain(tls.cert_file, tls.key_file, password="")
        except (ssl.SSLError, OSError) as exc:
            raise BrokerError(
                f"{tls.cert_file} and {tls.key_file} are not a certificate and its key ({reason_of(exc)})",
                where=_where(broker),
                mend="Give both in PEM, and the key without a password",
            ) from exc
    return context


def unreached(error: OSError) -> tuple[str, str]:
    """What an attempt to connect ended with, and the mend."""
    if isinstance(error, ssl.SSLCertVerificationError):
        mend = _UNTRUSTED.get(error.verify_code, "Name the authority that signed it as ca_file in wallclime.toml")
        return f"its certificate is not trusted: {reason_of(error)}", mend
    if isinstance(error, ssl.SSLError | ConnectionResetError):
        return f"TLS fails: {reason_of(error)}", "Give the port of its TLS listener, or take tls out of wallclime.toml"
    return reason_of(error), _START


def ended(broker: Broker, why: str, *, accepted: bool) -> tuple[str, str]:
    """What a link ended with, and the mend: it is another one where the broker never accepted us."""
    if accepted:
        return f"the link ended: {why}", "Nothing to do if the broker was restarted"
    what, mend = f"the link ended before we were accepted: {why}", "Look at its log: it may not trust our certificate"
    if broker.tls is None:
        mend = "Look at its log; if it speaks TLS on this port, set tls = true"
    elif broker.tls.cert_file is None:
        mend = "Look at its log; if it asks for a certificate, give cert_file and key_file in wallclime.toml"
    return what, mend


def refused(reason: Any) -> tuple[str, str]:
    """What a broker's refusal says, and the mend. `reason` is paho's reason code."""
    if reason.value == _UNSUPPORTED:
        return f"it refuses us: {reason}", 'Give the protocol that it speaks in wallclime.toml: "3.1.1" or "5"'
    return f"it refuses us: {reason}", "Check user in wallclime.toml and $WALLCLIME_BROKER_PASSWORD"


def error_of(broker: Broker, what: str, mend: str) -> BrokerError:
    """The error of a broker, which is named by its address."""
    return BrokerError(what, where=_where(broker), mend=mend)


def _where(broker: Broker) -> str:
    return f"broker {broker.host}:{broker.port}"
