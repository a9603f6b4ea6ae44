"""How people read: their language, and their unit of mass.

Revision: 0002, after 0001
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make this form from the one before."""
    with op.batch_alter_table("person") as batch_op:
        batch_op.add_column(sa.Column("locale", sa.String(length=16), nullable=True))
        batch_op.add_column(sa.Column("mass_unit", sa.String(length=2), nullable=True))


def downgrade() -> None:
    """Go back to the form before."""
    with op.batch_alter_table("person") as batch_op:
        batch_op.drop_column("mass_unit")
        batch_op.drop_column("locale")
