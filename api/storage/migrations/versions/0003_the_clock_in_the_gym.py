"""The clock in the gym: its time zone, and which starts of blocks were set by hand.

Revision: 0003, after 0002
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make this form from the one before."""
    with op.batch_alter_table("gym") as batch_op:
        batch_op.add_column(
            sa.Column("time_zone", sa.String(length=64), nullable=False, server_default="UTC")
        )
    with op.batch_alter_table("class") as batch_op:
        batch_op.add_column(
            sa.Column("hand_starts", sa.JSON(), nullable=False, server_default="[]")
        )


def downgrade() -> None:
    """Go back to the form before."""
    with op.batch_alter_table("class") as batch_op:
        batch_op.drop_column("hand_starts")
    with op.batch_alter_table("gym") as batch_op:
        batch_op.drop_column("time_zone")
