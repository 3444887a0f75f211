"""The tables. Times are UTC ms, hashes and payloads bytes; what may hold any JSON is its text.

A change here goes with a migration of the next number in `migrations/` and that number in `VERSIONS`.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    REAL,
    BigInteger,
    CheckConstraint,
    Column,
    Double,
    ForeignKey,
    Identity,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)

VERSIONS = (
    "0001",
    "0002",
    "0003",
    "0004",
    "0005",
    "0006",
)  # of the schema, oldest first; the last is the one this program reads and writes
VERSION_TABLE = "alembic_version"

# A STRICT table of SQLite knows INTEGER and REAL, but no BIGINT and no DOUBLE.
INT = Integer().with_variant(BigInteger(), "postgresql")
_FLOAT: Double = Double().with_variant(REAL(), "sqlite")

METADATA = MetaData()


def _table(name: str, *columns: Column | CheckConstraint | UniqueConstraint | Index, **options: Any) -> Table:
    return Table(name, METADATA, *columns, sqlite_strict=True, **options)


def _id() -> Column:
    return Column("id", INT, Identity(), primary_key=True)


def _int(name: str, *args: ForeignKey, null: bool = False, key: bool = False) -> Column:
    return Column(name, INT, *args, nullable=null, primary_key=key, autoincrement=False)


def _text(name: str, *, null: bool = False, key: bool = False) -> Column:
    return Column(name, Text, nullable=null, primary_key=key)


def _bytes(name: str, *, null: bool = False, key: bool = False) -> Column:
    return Column(name, LargeBinary, nullable=null, primary_key=key)


sensor = _table(
    "sensor",
    _id(),
    _text("stream"),
    _text("name", null=True),
    UniqueConstraint("stream"),
    UniqueConstraint("name"),
)

# first_t to readings sum up the channel's readings, written with them: nobody has to count millions of rows.
channel = _table(
    "channel",
    _id(),
    _int("sensor_id", ForeignKey("sensor.id")),
    _text("quantity"),
    _int("first_t", null=True),
    _int("last_t", null=True),
    _int("last_arrival", null=True),
    _int("readings"),
    UniqueConstraint("sensor_id", "quantity"),
)

origin = _table("origin", _id(), _text("kind"), _text("detail"), UniqueConstraint("kind", "detail"))

unit = _table("unit", _id(), _text("text"), UniqueConstraint("text"))

# PostgreSQL cuts it by the month of `t` (see `months`) and does not look the ids up.
reading = _table(
    "reading",
    _int("channel_id", ForeignKey("channel.id"), key=True),
    _int("t", key=True),
    Column("value", _FLOAT, nullable=False),
    _int("unit_id", ForeignKey("unit.id")),
    _int("arrival"),
    _int("origin_id", ForeignKey("origin.id")),
    # SQLite makes NULL of NaN, PostgreSQL ranks it above every number: neither passes, nor an infinity.
    CheckConstraint("value BETWEEN -1.7976931348623157e308 AND 1.7976931348623157e308", name="finite"),
    sqlite_with_rowid=False,
)

# `digest` tells what is the same thing refused again: a payload may be longer than an index takes.
quarantine = _table(
    "quarantine",
    _id(),
    _text("topic"),
    _text("quantity", null=True),
    _int("t", null=True),
    _text("reason"),
    _text("detail"),
    _bytes("raw"),
    _bytes("digest"),
    _int("count"),
    _int("first_arrival"),
    _int("last_arrival"),
    UniqueConstraint("digest"),
    Index("quarantine_t", "t"),
)

# How often things came that were in quarantine and had to be let go, by their reason.
quarantine_loss = _table("quarantine_loss", _text("reason", key=True), _int("count"))

chain = _table("chain", _id(), _text("name"), UniqueConstraint("name"))

entry = _table(
    "entry",
    _int("chain_id", ForeignKey("chain.id"), key=True),
    _int("number", key=True),
    _text("kind"),
    _int("at"),
    _int("entered"),
    _text("who"),
    _text("body"),
    _int("corrects", null=True),
    _bytes("salt"),
    _bytes("link"),
)

# AUTOINCREMENT: an id that was settled never comes back, so that a second evaluator cannot settle a younger row by it.
dirty = _table("dirty", _id(), _text("stream"), _int("first_t"), _int("last_t"), sqlite_autoincrement=True)

checkpoint = _table(
    "checkpoint",
    _text("job", key=True),
    _text("variant", key=True),
    _int("midnight", key=True),
    _int("covers_from"),
    _int("depends_until"),
    _text("open"),
    _int("rules_version"),
    _bytes("frame"),
    _bytes("before"),
    _bytes("after"),
    _int("stale"),
    _bytes("exit_state"),
    _bytes("product"),
)

generation = _table("generation", _text("job", key=True), _int("value"))

# From when to when a daemon was there: what is missing between was not heard, whoever sent it. `state` is JSON.
awake = _table("awake", _id(), _int("started"), _int("last"), _text("state"))

# Of a daemon that is one of several: which part it has, and the JSON list of topic filters that it hears. One without a
# row here hears all that is heard.
worker = _table(
    "worker",
    _int("awake_id", ForeignKey("awake.id"), key=True),
    _text("role"),
    _text("share", null=True),
    _text("hears"),
)

# Of each job the generation that was judged last, by which rules, when time alone would complete it, and until when
# somebody has it in hand.
judged = _table(
    "judged",
    _text("job", key=True),
    _int("generation"),
    _int("rules_version"),
    _int("due", null=True),
    _int("taken_until"),
)

# Photos and documents as they came; entries name them by their SHA-256.
attachment = _table("attachment", _bytes("sha256", key=True), _text("media_type"), _int("size"), _bytes("bytes"))

# What was sealed: the leaves of one tree, never changed. `kind` and `thread` say whose a leaf is ("sensor" and its
# stream, "log" and the chain, "recorder" and nothing), `record` what kind of record it is, `day` of which UTC day.
leaf = _table(
    "leaf",
    _int("number", key=True),
    _text("text"),
    _text("kind"),
    _text("thread"),
    _text("record"),
    _int("day", null=True),
    Index("leaf_thread", "kind", "thread", "number"),
    Index("leaf_day", "kind", "thread", "day"),
)

# What a leaf holds the hash of: a packed segment, or the hashes of what was refused.
sealed = _table("sealed", _int("leaf", ForeignKey("leaf.number"), key=True), _bytes("bytes"))

# The leaves of sensors whose readings are rows of `reading` too. Those of the others, which are compacted, are not.
loose = _table("loose", _int("leaf", ForeignKey("leaf.number"), key=True))

# `frontier`: the roots of the tree's full subtrees, from which it grows. `closes`: the UTC day that is whole with it;
# `job`: for which one it was made, if any.
head = _table(
    "head",
    _int("number", key=True),
    _int("size"),
    _text("text"),
    _bytes("signature"),
    _int("made"),
    _bytes("frontier"),
    _int("closes", null=True),
    _text("job", null=True),
)

key_statement = _table("key_statement", _int("number", key=True), _text("text"), _bytes("new"), _bytes("old"))

timestamp = _table("timestamp", _bytes("head", key=True), _bytes("answer"))

# Of which days something was kept since they were sealed. `touched` grows with every batch: a mark that was read goes
# only if nothing came meanwhile.
unsealed = _table(
    "unsealed",
    _text("kind", key=True),
    _text("thread", key=True),
    _int("day", key=True),
    _int("touched"),
)

# `changed`: when it was written last; `body` is the alarm as JSON.
alarm = _table(
    "alarm",
    _text("id", key=True),
    _text("job"),
    _text("standing"),
    _int("raised"),
    _int("changed"),
    _text("body"),
    Index("alarm_standing", "standing", "changed"),
)

# Messages on their way: `state` is waiting, sent or dead; `due` when it is to be tried, or was sent or given up;
# `message` is JSON.
outbox = _table(
    "outbox",
    _text("id", key=True),
    _text("state"),
    _int("due"),
    _int("made"),
    _int("expires", null=True),
    _int("tries"),
    _text("error", null=True),
    _text("message"),
    Index("outbox_state", "state", "due"),
    Index("outbox_made", "made"),
)

# What is done on schedule: of the period "" the last run of a work, of any other the one run of that period. `runs`:
# when, in words; `zone`: of whose clocks.
schedule = _table(
    "schedule",
    _text("name", key=True),
    _text("period", key=True),
    _text("state"),
    _int("started", null=True),
    _int("ended", null=True),
    _int("failed", null=True),
    _text("error", null=True),
    _int("next", null=True),
    _text("runs"),
    _text("zone", null=True),
)
