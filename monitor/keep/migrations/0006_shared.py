"""Several processes over one store: what each hears, and which jobs were judged. PostgreSQL keeps readings by month.

The columns of `reading` stay; its rows refer to their channel, unit and origin as before, but PostgreSQL does not look
that up for each row any more: it took as long as writing them, and they are written in the same transaction.
"""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"

INT = sa.Integer().with_variant(sa.BigInteger(), "postgresql")
BACK, AHEAD = 120, 1  # [months]


def _int(name: str, *args: sa.ForeignKey, null: bool = False, key: bool = False) -> sa.Column:
    return sa.Column(name, INT, *args, nullable=null, primary_key=key, autoincrement=False)


def _text(name: str, *, null: bool = False, key: bool = False) -> sa.Column:
    return sa.Column(name, sa.Text(), nullable=null, primary_key=key)


def upgrade() -> None:
    op.create_table(
        "worker",
        _int("awake_id", sa.ForeignKey("awake.id"), key=True),
        _text("role"),
        _text("share", null=True),
        _text("hears"),
        sqlite_strict=True,
    )
    op.create_table(
        "judged",
        _text("job", key=True),
        _int("generation"),
        _int("rules_version"),
        _int("due", null=True),
        _int("taken_until"),
        sqlite_strict=True,
    )
    if op.get_bind().dialect.name == "postgresql":
        _by_month()


def _by_month() -> None:
    """Move the readings into a table that is cut by the month of their time; one month after the other."""
    months = op.get_bind().execute(sa.text(MONTHS)).all()
    for step in (
        "ALTER TABLE reading RENAME TO reading_before",
        "ALTER INDEX reading_pkey RENAME TO reading_before_pkey",
        "CREATE TABLE reading (LIKE reading_before INCLUDING DEFAULTS INCLUDING CONSTRAINTS, "
        "PRIMARY KEY (channel_id, t)) PARTITION BY RANGE (t)",
        "CREATE TABLE reading_rest PARTITION OF reading DEFAULT",
        *(
            f"CREATE TABLE reading_{name} PARTITION OF reading FOR VALUES FROM ({begin}) TO ({end})"
            for name, begin, end in months
        ),
        "INSERT INTO reading SELECT * FROM reading_before ORDER BY channel_id, t",
        "DROP TABLE reading_before",
    ):
        op.execute(step)


# Name, beginning and end of each month that holds readings and is to have a partition. [ms]
MONTHS = f"""
    SELECT to_char(month, 'YYYY_MM'), extract(epoch FROM month)::bigint * 1000,
           extract(epoch FROM month + interval '1 month')::bigint * 1000
    FROM generate_series(
        date_trunc('month', now() AT TIME ZONE 'UTC') - interval '{BACK} months',
        date_trunc('month', now() AT TIME ZONE 'UTC') + interval '{AHEAD} months', interval '1 month') AS month
    WHERE EXISTS (
        SELECT 1 FROM reading WHERE t >= extract(epoch FROM month)::bigint * 1000
        AND t < extract(epoch FROM month + interval '1 month')::bigint * 1000)
    ORDER BY month
"""
