"""A number that tells a site's books have changed, so that processes need not read them in each request."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the number; a constant default needs no rewriting of rows on either engine."""
    op.add_column("sites", sa.Column("books_version", sa.Integer(), server_default="0", nullable=False))


def downgrade() -> None:
    """Take the number away."""
    op.drop_column("sites", "books_version")
