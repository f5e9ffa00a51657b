"""When a key expires, and when it was last used."""

from alembic import op
from sqlalchemy import Column, DateTime

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    """Add what is missing; keys that were made before do not expire."""
    for name in ("expires_at", "last_used_at"):
        op.add_column("api_keys", Column(name, DateTime(timezone=True)))
