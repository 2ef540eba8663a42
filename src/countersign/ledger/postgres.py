"""A ledger in a PostgreSQL database.

The server's own settings decide whether a commit is on disk; ``synchronous_commit`` is asked for,
``fsync`` must be on there (it is unless somebody turned it off).
"""

from sqlalchemy import URL, Connection, Engine, create_engine, inspect, make_url, select
from sqlalchemy.exc import ArgumentError

from countersign.ledger.tables import SCHEMA_VERSION, create_tables, metadata, version_table
from countersign.problems import BadInput

_MISSING = "A ledger on a PostgreSQL server needs more packages; install them with: " + (
    "pip install 'countersign[postgres]'."
)
_TRIGGERS = {
    f"{table}_{what}"
    for table in ("case", "entry", "link")
    for what in ("never_changed", "never_emptied")
} | {"entry_in_order", "link_in_order"}


def server_url(address: str) -> URL:
    """The address for SQLAlchemy; ``BadInput`` where it is none."""
    try:
        url = make_url(address)
    except (ArgumentError, ValueError):
        raise BadInput("The address of the ledger is not a PostgreSQL address.") from None
    return url.set(drivername="postgresql+psycopg")


def shown(url: URL) -> str:
    """The address as people see it: without a password."""
    return url.set(drivername="postgresql", password=None, query={}).render_as_string()


def server_engine(url: URL, patience_s: float) -> Engine:
    """The engine for a server; ``BadInput`` where the driver is not installed."""
    wait_ms = max(1, round(1000 * patience_s))
    options = f"-c synchronous_commit=on -c lock_timeout={wait_ms}"
    try:
        return create_engine(
            url,
            connect_args={"options": options, "connect_timeout": max(2, round(patience_s))},
            pool_pre_ping=True,
        )
    except ImportError:
        raise BadInput(_MISSING) from None


def prepare_server_tables(name: str, connection: Connection, *, create: bool) -> None:
    """Make the tables, in a transaction that holds the write lock; ``BadInput`` as for a file."""
    present = set(inspect(connection).get_table_names())
    ours = set(metadata.tables)
    if ours <= present:
        version = int(connection.execute(select(version_table.c.version_num)).scalar_one())
        if version > SCHEMA_VERSION:
            raise BadInput(
                f"The ledger {name} was written by a newer version of this tool (format {version})."
            )
        return
    if ours & present:
        raise BadInput(f"The database {name} is one of another program.")
    if not create:
        raise BadInput(f"There is no ledger at {name} yet.")
    create_tables(connection)


def missing_server_triggers(connection: Connection) -> bool:
    """Whether a trigger that protects the rows is gone or switched off."""
    found = connection.exec_driver_sql(
        "SELECT tgname FROM pg_trigger JOIN pg_class ON pg_class.oid = tgrelid"
        " WHERE NOT tgisinternal AND tgenabled IN ('O', 'A')"
        " AND relnamespace = current_schema()::regnamespace"
    )
    return not set(found.scalars()) >= _TRIGGERS
