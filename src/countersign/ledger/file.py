"""Opening a ledger, wherever it is, and making sure that it is whole."""

import logging
from pathlib import Path

from sqlalchemy import Connection

from countersign.ledger import sqlite
from countersign.ledger.chain import Broken, head, verify
from countersign.ledger.copy import (
    Copy,
    CopyTrouble,
    Damaged,
    Differs,
    bring_up,
    move_aside,
    newest,
    put_back,
)
from countersign.ledger.opened import Ledger, reading, write_transaction, writing
from countersign.ledger.postgres import (
    missing_server_triggers,
    prepare_server_tables,
    server_engine,
    server_url,
    shown,
)
from countersign.ledger.sealing import Seal, current_key
from countersign.ledger.trouble import in_one_sentence
from countersign.problems import BadInput
from countersign.settings import LedgerPlace, copy_path, ledger_place

__all__ = ["PATIENCE_S", "Ledger", "open_ledger", "reading", "writing"]

_log = logging.getLogger(__name__)

PATIENCE_S = 5.0
"""How long a step waits for another program to release the ledger, in seconds."""

_REMEDY = "stop what uses it and run countersign ledger restore"


def open_ledger(
    place: LedgerPlace | None = None, *, create: bool = True, patience_s: float | None = None
) -> Ledger:
    """Open the ledger at ``place``, or where the settings say when it is ``None``.

    Every row is checked against the chain, and the ledger against its running copy: rows that it
    lost at its end are put back from there. An older form is brought to the present one; the file
    is copied before. With ``create`` a missing file (and its folder) is made, readable by its owner
    only. Raises ``BadInput`` when the ledger is missing (without ``create``), locked, read-only,
    damaged, written by a newer version, or no ledger at all, and naming case and entry when
    something in it is not what was written. ``patience_s`` is ``PATIENCE_S`` unless given.
    """
    patience_s = PATIENCE_S if patience_s is None else patience_s
    place = ledger_place(place)
    if isinstance(place, str):
        ledger = _open_server(place, patience_s, create=create)
    else:
        ledger = _open_file(place, patience_s, create=create)
    try:
        _check_chain(ledger)
        _check_copy(ledger)
    except BaseException:
        ledger.close()
        raise
    return ledger


def _open_file(path: Path, patience_s: float, *, create: bool) -> Ledger:
    key = current_key()
    copy = _copy(path, key, patience_s)
    with in_one_sentence(path):
        if not path.exists() or path.stat().st_size == 0:
            _refuse_to_begin_anew(path, copy)
        sqlite.prepare_file(path, create=create, key=key)
        engine = sqlite.sqlite_engine(path, patience_s, key)
        try:
            sqlite.prepare_tables(path, engine, patience_s)
        except BaseException:
            engine.dispose()
            raise
    return Ledger(name=str(path), engine=engine, copy=copy, file=path)


def _open_server(address: str, patience_s: float, *, create: bool) -> Ledger:
    url = server_url(address)
    name = shown(url)
    engine = server_engine(url, patience_s)
    with in_one_sentence(name):
        try:
            with write_transaction(engine) as connection:
                prepare_server_tables(name, connection, create=create)
        except BaseException:
            engine.dispose()
            raise
    return Ledger(name=name, engine=engine, copy=_copy(address, current_key(), patience_s))


def _copy(place: LedgerPlace, key: str | None, patience_s: float) -> Copy | None:
    path = copy_path(place)
    if path is None:
        return None
    return Copy(path, Seal(key) if key is not None else None, patience_s)


def _refuse_to_begin_anew(path: Path, copy: Copy | None) -> None:
    """A ledger that is gone must not be followed by an empty one as if nothing had happened."""
    if copy is None:
        return
    try:
        known = newest(copy)
    except CopyTrouble:
        return
    if known is not None and known.place:
        raise BadInput(
            f"The ledger {path} is missing or empty, but its copy {copy.path} has {known.place}"
            " rows; run countersign ledger restore, or move the copy away to begin anew."
        )


def _check_chain(ledger: Ledger) -> None:
    try:
        with reading(ledger) as connection:
            verify(connection)
            if not _pages_are_whole(connection):
                raise Broken("its pages do not fit together")
            if _unprotected(connection):
                raise Broken("the triggers that protect its entries are not those that were made")
    except Broken as broken:
        raise BadInput(
            f"The ledger {ledger.name} was damaged or tampered with: {broken}; {_REMEDY}."
        ) from None


def _pages_are_whole(connection: Connection) -> bool:
    """Whether SQLite finds its pages and indexes in order; a server looks after its own."""
    if connection.dialect.name == "postgresql":
        return True
    return sqlite.pages_are_whole(connection)


def _unprotected(connection: Connection) -> bool:
    if connection.dialect.name == "postgresql":
        return missing_server_triggers(connection)
    return sqlite.missing_triggers(connection)


def _check_copy(ledger: Ledger) -> None:
    copy = ledger.copy
    if copy is None:
        return
    try:
        try:
            _compare(ledger, copy)
        except Damaged as trouble:
            # Every row of the ledger fits its chain: the copy is made anew from it.
            aside = move_aside(copy.path)
            _log.warning("The copy was moved to %s and is made anew: %s.", aside, trouble)
            _compare(ledger, copy)
    except Differs as trouble:
        raise BadInput(
            f"The ledger {ledger.name} and its copy {copy.path} do not fit: {trouble}; find out"
            " which is right, and move the other one away."
        ) from None
    except (CopyTrouble, OSError) as trouble:
        _log.warning("The ledger's copy %s cannot be used: %s.", copy.path, trouble)


def _compare(ledger: Ledger, copy: Copy) -> None:
    known = newest(copy)  # before the ledger is asked: other programs may be writing both
    with reading(ledger) as connection:
        here = head(connection)
    if known is not None and known.place > here.place:
        with in_one_sentence(ledger.name), write_transaction(ledger.engine) as connection:
            again = put_back(copy, connection)
        if again:
            _log.warning("The ledger %s had lost %d rows; they were put back.", ledger.name, again)
    elif known != here:
        with reading(ledger) as connection:
            bring_up(copy, connection)
