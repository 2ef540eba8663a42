"""${message}"""

revision = ${repr(up_revision)}
down_revision = ${repr(down_revision)}


def upgrade() -> None:
    """Bring a ledger of the format before to this one; history is never taken away again."""
