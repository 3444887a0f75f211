"""Alarms, the messages that tell of them, and what is done on schedule."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"

INT = sa.Integer().with_variant(sa.BigInteger(), "postgresql")


def _int(name: str, *, null: bool = False) -> sa.Column:
    return sa.Column(name, INT, nullable=null, autoincrement=False)


def _text(name: str, *, null: bool = False, key: bool = False) -> sa.Column:
    return sa.Column(name, sa.Text(), nullable=null, primary_key=key)


def upgrade() -> None:
    op.create_table(
        "alarm",
        _text("id", key=True),
        _text("job"),
        _text("standing"),
        _int("raised"),
        _int("changed"),
        _text("body"),
        sqlite_strict=True,
    )
    op.create_index("alarm_standing", "alarm", ["standing", "changed"])
    op.create_table(
        "outbox",
        _text("id", key=True),
        _text("state"),
        _int("due"),
        _int("made"),
        _int("expires", null=True),
        _int("tries"),
        _text("error", null=True),
        _text("message"),
        sqlite_strict=True,
    )
    op.create_index("outbox_state", "outbox", ["state", "due"])
    op.create_index("outbox_made", "outbox", ["made"])
    op.create_table(
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
        sqlite_strict=True,
    )
