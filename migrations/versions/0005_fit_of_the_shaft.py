"""What the shaft under a bearing measured when it was mounted, and the limits it was judged by."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None
ADDED = ("shaft_diameter_nm", "shaft_min_nm", "shaft_max_nm")


def upgrade() -> None:
    """Add the columns, empty: neither engine rewrites a row."""
    for name in ADDED:
        op.add_column("stays", sa.Column(name, sa.BigInteger(), nullable=True))


def downgrade() -> None:
    """Take the columns away."""
    for name in reversed(ADDED):
        op.drop_column("stays", name)
