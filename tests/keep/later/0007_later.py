"""A version that only the tests know: it adds a table."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    op.create_table("later", sa.Column("id", sa.Integer(), primary_key=True))
