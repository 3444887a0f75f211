"""A version that only the tests know: it adds a table."""

import sqlalchemy as sa
from alembic import op

from monitor.keep.schema import VERSIONS

revision = "later"
down_revision = VERSIONS[-1]


def upgrade() -> None:
    op.create_table("later", sa.Column("id", sa.Integer(), primary_key=True))
