"""Writing a row and its link in the chain, inside a transaction that holds the write lock."""

from sqlalchemy import Connection, insert

from countersign.ledger.chain import Row, head, link_hash
from countersign.ledger.tables import case_table, entry_table, link_table


def keep_case(connection: Connection, row: Row) -> None:
    """Keep one case; ``row`` has every column of its table."""
    connection.execute(insert(case_table).values(**row))
    _link(connection, row["id"], 0, row)


def keep_entry(connection: Connection, row: Row) -> None:
    """Keep one entry; ``row`` has every column of its table."""
    connection.execute(insert(entry_table).values(**row))
    _link(connection, row["case_id"], row["seq"], row)


def keep_row(connection: Connection, row: Row) -> None:
    """Keep a case or an entry, whichever it is."""
    if "case_id" in row:
        keep_entry(connection, row)
    else:
        keep_case(connection, row)


def _link(connection: Connection, case_id: str, seq: int, row: Row) -> None:
    before = head(connection)
    connection.execute(
        insert(link_table).values(
            place=before.place + 1,
            case_id=case_id,
            seq=seq,
            hash=link_hash(before.hash, row),
        )
    )
