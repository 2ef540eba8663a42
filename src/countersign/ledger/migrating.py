"""Bringing a ledger that an older version wrote to the present form, with Alembic."""

import logging
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

from sqlalchemy import Connection

from countersign.ledger.tables import SCHEMA_VERSION, revision
from countersign.problems import BadInput

_log = logging.getLogger(__name__)


def migrate(connection: Connection, version: int) -> None:
    """Bring the tables from ``version`` to the newest one, in the connection's transaction."""
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", "countersign.ledger:migrations")
    config.attributes["connection"] = connection
    if version == 1:  # written before Alembic kept account
        command.stamp(config, revision(version))
    command.upgrade(config, "head")
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql(f"PRAGMA user_version = {SCHEMA_VERSION}")
    _log.info("brought the ledger from format %d to %d", version, SCHEMA_VERSION)


def copy_before(path: Path, version: int, connect: Any = sqlite3.connect) -> Path:
    """Copy an SQLite file as it is beside itself before it is migrated; returns the copy.

    ``connect`` opens a file as the ledger's own driver does. ``BadInput`` where the copy cannot be
    written: then nothing is migrated.
    """
    copy = path.with_name(f"{path.name}.format-{version}")
    part = copy.with_name(f"{copy.name}.part")
    try:
        part.unlink(missing_ok=True)
        part.touch(mode=0o600)
        with closing(connect(str(path))) as old, closing(connect(str(part))) as new:
            old.backup(new)
        part.replace(copy)
    except OSError as error:
        raise BadInput(
            f"The ledger {path} cannot be copied before its form is changed ({error.strerror})."
        ) from error
    return copy
