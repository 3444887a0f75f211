"""Files that people hand in."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

INT = sa.Integer().with_variant(sa.BigInteger(), "postgresql")


def upgrade() -> None:
    op.create_table(
        "attachment",
        sa.Column("sha256", sa.LargeBinary(), nullable=False, primary_key=True),
        sa.Column("media_type", sa.Text(), nullable=False),
        sa.Column("size", INT, nullable=False),
        sa.Column("bytes", sa.LargeBinary(), nullable=False),
        sqlite_strict=True,
    )
