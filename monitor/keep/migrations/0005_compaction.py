"""Which sealed readings are rows too: all that there are so far."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"

INT = sa.Integer().with_variant(sa.BigInteger(), "postgresql")


def upgrade() -> None:
    op.create_table(
        "loose",
        sa.Column("leaf", INT, sa.ForeignKey("leaf.number"), nullable=False, primary_key=True, autoincrement=False),
        sqlite_strict=True,
    )
    op.execute(
        "INSERT INTO loose SELECT leaf.number FROM leaf JOIN sealed ON sealed.leaf = leaf.number "
        "WHERE leaf.kind = 'sensor'"
    )
