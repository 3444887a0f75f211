"""The first tables."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

INT = sa.Integer().with_variant(sa.BigInteger(), "postgresql")
FLOAT: sa.Double = sa.Double().with_variant(sa.REAL(), "sqlite")


def _id() -> sa.Column:
    return sa.Column("id", INT, sa.Identity(), primary_key=True)


def _int(name: str, *args: sa.ForeignKey, null: bool = False, key: bool = False) -> sa.Column:
    return sa.Column(name, INT, *args, nullable=null, primary_key=key, autoincrement=False)


def _text(name: str, *, null: bool = False, key: bool = False) -> sa.Column:
    return sa.Column(name, sa.Text(), nullable=null, primary_key=key)


def _bytes(name: str, *, null: bool = False) -> sa.Column:
    return sa.Column(name, sa.LargeBinary(), nullable=null)


def _readings() -> None:
    op.create_table(
        "sensor",
        _id(),
        _text("stream"),
        _text("name", null=True),
        sa.UniqueConstraint("stream"),
        sa.UniqueConstraint("name"),
        sqlite_strict=True,
    )
    op.create_table(
        "channel",
        _id(),
        _int("sensor_id", sa.ForeignKey("sensor.id")),
        _text("quantity"),
        _int("first_t", null=True),
        _int("last_t", null=True),
        _int("last_arrival", null=True),
        _int("readings"),
        sa.UniqueConstraint("sensor_id", "quantity"),
        sqlite_strict=True,
    )
    op.create_table(
        "origin", _id(), _text("kind"), _text("detail"), sa.UniqueConstraint("kind", "detail"), sqlite_strict=True
    )
    op.create_table("unit", _id(), _text("text"), sa.UniqueConstraint("text"), sqlite_strict=True)
    op.create_table(
        "reading",
        _int("channel_id", sa.ForeignKey("channel.id"), key=True),
        _int("t", key=True),
        sa.Column("value", FLOAT, nullable=False),
        _int("unit_id", sa.ForeignKey("unit.id")),
        _int("arrival"),
        _int("origin_id", sa.ForeignKey("origin.id")),
        sa.CheckConstraint("value BETWEEN -1.7976931348623157e308 AND 1.7976931348623157e308", name="finite"),
        sqlite_with_rowid=False,
        sqlite_strict=True,
    )


def _refused() -> None:
    op.create_table(
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
        sa.UniqueConstraint("digest"),
        sqlite_strict=True,
    )
    op.create_index("quarantine_t", "quarantine", ["t"])
    op.create_table("quarantine_loss", _text("reason", key=True), _int("count"), sqlite_strict=True)


def _log() -> None:
    op.create_table("chain", _id(), _text("name"), sa.UniqueConstraint("name"), sqlite_strict=True)
    op.create_table(
        "entry",
        _int("chain_id", sa.ForeignKey("chain.id"), key=True),
        _int("number", key=True),
        _text("kind"),
        _int("at"),
        _int("entered"),
        _text("who"),
        _text("body"),
        _int("corrects", null=True),
        _bytes("salt"),
        _bytes("link"),
        sqlite_strict=True,
    )


def _derived() -> None:
    op.create_table(
        "dirty",
        _id(),
        _text("stream"),
        _int("first_t"),
        _int("last_t"),
        sqlite_autoincrement=True,
        sqlite_strict=True,
    )
    op.create_table(
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
        sqlite_strict=True,
    )
    op.create_table("generation", _text("job", key=True), _int("value"), sqlite_strict=True)
    op.create_table("awake", _id(), _int("started"), _int("last"), _text("state"), sqlite_strict=True)


def upgrade() -> None:
    """Make all tables."""
    _readings()
    _refused()
    _log()
    _derived()
