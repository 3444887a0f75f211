"""Messages to people, through Apprise: one message to one contact, taken or an error that does not say where it went.

What may be reached is decided by the settings (`alarm_tables.SCHEMES`). Certificates are always checked, redirects are
not followed, nothing is tried twice here, nothing is read from a file and nothing is written to one. Needs the extra
`wallclime[notify]`.
"""

from __future__ import annotations

import importlib.util
import logging
import re
from collections.abc import Iterator
from typing import TYPE_CHECKING

from monitor.basis.alarm import Message
from monitor.basis.errors import DeliveryError
from monitor.config.alarm_tables import url_variable
from monitor.config.alarms import Contact
from monitor.tell.words import visible

if TYPE_CHECKING:
    from apprise import NotifyBase
    from apprise.result import AppriseResult

ANSWER_WITHIN = 10.0  # of one question to a contact's server; it may take several to tell one message [s]
LONGEST_SUBJECT = 150  # [characters]

# Services that read marks such as *, < and @ in a plain text too, as type, links or calls to everybody.
_MARKING = {"slack", "discord", "workflows", "gchat", "zulip", "mmost", "mmosts", "rocket", "rockets", "tgram"}
_WIDE = {ord(sign): chr(ord(sign) + 0xFEE0) for sign in "*_~`<>[]|@#\\"}  # the same signs, full width: only read
_TYPES = {"alarm": "warning", "returned": "success"}

# What is known of a failure, and what a person does about it. Nothing of what a server or a library said is passed on:
# it may hold the URL.
_REASONS = (
    (
        r"error=(?:401|403)\b|SMTPAuthenticationError|\(535,",
        "it refuses our user or password",
        "Check its URL: the user, the password or the key may be spelled wrongly or have run out",
    ),
    (
        r"error=(?:404|410)\b",
        "there is nothing at its URL any more",
        "Check its URL; a webhook may have been taken away",
    ),
    (r"error=429\b", "it has had too many messages", "Nothing to do: it is tried again later"),
    (r"error=5\d\d\b", "its server is in trouble", "Nothing to do: it is tried again later"),
    (
        r"error=3\d\d\b",
        "its URL leads elsewhere, where nothing is sent to",
        "Write the URL that it leads to",
    ),
    (
        r"CERTIFICATE_VERIFY_FAILED",
        "its certificate is not trusted",
        "Check the host in its URL, and this computer's clock",
    ),
    (r"SSLError|SSL:", "TLS can't be agreed on", "Check the port in its URL, and whether it speaks TLS there"),
    (r"timed out|TimeoutError", "it does not answer in time", "Nothing to do: it is tried again later"),
    (r"Connection refused", "its server refuses the connection", "Check host and port in its URL"),
    (
        r"getaddrinfo|[Nn]ame resolution|[Nn]ame or service not known|nodename nor servname",
        "its host is not known",
        "Check the host in its URL, and this computer's link to the internet",
    ),
)


def tell(contact: Contact, message: Message) -> None:
    """Tell `message` to `contact`; it has taken it when this returns. Raises DeliveryError."""
    _needs_the_extra(contact)
    from apprise import Apprise, NotifyFormat, NotifyType

    server = _server(contact)
    plain = _wide if _scheme(contact) in _MARKING else str
    reached = Apprise(asset=server.asset)
    reached.add(server)
    result = reached.notify(
        body=plain(_text(message)),
        title=plain(_subject(message)),
        notify_type=NotifyType(_TYPES.get(message.kind, "info")),
        body_format=NotifyFormat.TEXT,
        log_level=logging.DEBUG,
    )
    if not result:
        raise _error(contact, *_reason(_said(result)))


def check(contact: Contact) -> None:
    """Raise DeliveryError where nothing could be told to `contact`, whoever answered: no extra, no URL, or not one."""
    _needs_the_extra(contact)
    _server(contact)


def _needs_the_extra(contact: Contact) -> None:
    if importlib.util.find_spec("apprise") is None:
        raise _error(contact, "contacts are reached with the package apprise", "pip install 'wallclime[notify]'")


def _server(contact: Contact) -> NotifyBase:
    if not contact.url:
        mend = f"Give its url_file in wallclime.toml, or ${url_variable(contact.name)} to whoever starts wallclime"
        raise _error(contact, "it has no URL", mend)
    from apprise import Apprise, AppriseAsset

    library = logging.getLogger("apprise")  # it names hosts and people in what it writes
    library.propagate = False
    library.setLevel(logging.DEBUG)  # else it would not say why it failed
    asset = AppriseAsset(
        storage_mode="memory", service_timeout=0, allow_templates=False, pgp_autogen=False, pem_autogen=False,
        http_redirects=False, async_mode=False, app_id="wallclime", app_desc="wallclime", app_url="",
        image_url_mask="", image_url_logo="", image_path_mask=False,
    )  # fmt: skip
    server = Apprise.instantiate(contact.url, asset=asset)
    if server is None:
        raise _error(contact, "its URL can't be read", f"Check how one begins that is {_scheme(contact)}://")
    server.verify_certificate, server.redirects, server.retry = True, False, 0
    server.socket_connect_timeout = server.socket_read_timeout = ANSWER_WITHIN
    return server


def _scheme(contact: Contact) -> str:
    return contact.url.partition("://")[0].lower()


def _subject(message: Message) -> str:
    """One line, whatever names stand in it."""
    line = visible(" ".join(message.subject.split()))
    return line if len(line) <= LONGEST_SUBJECT else f"{line[: LONGEST_SUBJECT - 3]}..."


def _text(message: Message) -> str:
    """The text without signs that are not seen or turn others round, and the id that tells a message from its like."""
    lines = [visible(line) for line in message.text.split("\n")]
    return "\n".join([*lines, "", f"message {message.id}"])


def _wide(text: str) -> str:
    return text.translate(_WIDE)


def _said(result: AppriseResult) -> Iterator[str]:
    return (entry.message for entry in result.logs())


def _reason(said: Iterator[str]) -> tuple[str, str]:
    """What failed and the mend, of what the library wrote down."""
    told = "\n".join(said)
    for pattern, what, mend in _REASONS:
        if re.search(pattern, told):
            return what, mend
    return "it does not take the message", "Check its URL: wallclime alarm test tells it something"


def _error(contact: Contact, what: str, mend: str) -> DeliveryError:
    return DeliveryError(what, where=f"contact {contact.name}", mend=mend)
