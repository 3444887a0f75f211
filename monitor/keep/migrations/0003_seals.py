"""Seals: leaves, what they hold, signed heads, keys, time-stamps. Every day that was kept so far is to be sealed."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"

INT = sa.Integer().with_variant(sa.BigInteger(), "postgresql")
DAY = 86_400_000  # [ms]


def _int(name: str, *args: sa.ForeignKey, null: bool = False, key: bool = False) -> sa.Column:
    return sa.Column(name, INT, *args, nullable=null, primary_key=key, autoincrement=False)


def _text(name: str, *, null: bool = False, key: bool = False) -> sa.Column:
    return sa.Column(name, sa.Text(), nullable=null, primary_key=key)


def _bytes(name: str, *, key: bool = False) -> sa.Column:
    return sa.Column(name, sa.LargeBinary(), nullable=False, primary_key=key)


def upgrade() -> None:
    op.create_table(
        "leaf",
        _int("number", key=True),
        _text("text"),
        _text("kind"),
        _text("thread"),
        _text("record"),
        _int("day", null=True),
        sqlite_strict=True,
    )
    op.create_index("leaf_thread", "leaf", ["kind", "thread", "number"])
    op.create_index("leaf_day", "leaf", ["kind", "thread", "day"])
    op.create_table("sealed", _int("leaf", sa.ForeignKey("leaf.number"), key=True), _bytes("bytes"), sqlite_strict=True)
    op.create_table(
        "head",
        _int("number", key=True),
        _int("size"),
        _text("text"),
        _bytes("signature"),
        _int("made"),
        _bytes("frontier"),
        _int("closes", null=True),
        _text("job", null=True),
        sqlite_strict=True,
    )
    op.create_table(
        "key_statement", _int("number", key=True), _text("text"), _bytes("new"), _bytes("old"), sqlite_strict=True
    )
    op.create_table("timestamp", _bytes("head", key=True), _bytes("answer"), sqlite_strict=True)
    op.create_table(
        "unsealed",
        _text("kind", key=True),
        _text("thread", key=True),
        _int("day", key=True),
        _int("touched"),
        sqlite_strict=True,
    )
    op.execute(
        f"INSERT INTO unsealed SELECT DISTINCT 'sensor', stream, t - t % {DAY}, 1 FROM reading "
        "JOIN channel ON channel.id = channel_id JOIN sensor ON sensor.id = sensor_id"
    )
    op.execute(
        f"INSERT INTO unsealed SELECT DISTINCT 'recorder', '', first_arrival - first_arrival % {DAY}, 1 FROM quarantine"
    )
