"""The first version, which a new shelf is made with at once."""

revision = "0001"
down_revision = None


def upgrade() -> None:
    """There is nothing before it."""
