"""Encryption at rest: one key for the ledger file, its copy and its backups.

The file is encrypted by SQLCipher, lines of copies and backups by Fernet of ``cryptography``. It
protects a disk or a backup that somebody else gets hold of. It does not protect against who can
read the key file or the memory of a running program, and it does not cover kept sound and words.
"""

import base64
import os
import re
import secrets
from pathlib import Path
from types import ModuleType
from typing import Any

from countersign.problems import BadInput
from countersign.settings import key_path

_MISSING = "An encrypted ledger needs more packages; install them with: " + (
    "pip install 'countersign[encryption]'."
)
_KEY = re.compile(r"[0-9a-f]{64}")


def make_key(path: Path) -> None:
    """Write a new random key of 256 bits to a new file that only its owner may read."""
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(secrets.token_hex(32) + "\n")
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise BadInput(f"The key {path} cannot be written ({error.strerror}).") from error


def current_key() -> str | None:
    """The key in hexadecimal, ``None`` where the ledger is not encrypted; ``BadInput`` if bad."""
    path = key_path()
    if path is None:
        return None
    try:
        key = path.read_text(encoding="ascii").strip()
    except (OSError, ValueError) as error:
        raise BadInput(f"The key {path} cannot be read.") from error
    if not _KEY.fullmatch(key):
        raise BadInput(f"{path} is not a key that this tool made.")
    return key


def driver() -> ModuleType:
    """The driver for encrypted SQLite files; ``BadInput`` where it is not installed."""
    try:
        from sqlcipher3 import dbapi2
    except ImportError:
        raise BadInput(_MISSING) from None
    module: ModuleType = dbapi2
    return module


class Seal:
    """Seals lines of text, so that they can be neither read nor changed without the key."""

    def __init__(self, key: str) -> None:
        """``key`` in hexadecimal; ``BadInput`` where the package is not installed."""
        try:
            from cryptography.fernet import Fernet
            from cryptography.hazmat.primitives.hashes import SHA256
            from cryptography.hazmat.primitives.kdf.hkdf import HKDF
        except ImportError:
            raise BadInput(_MISSING) from None
        derived = HKDF(SHA256(), 32, salt=None, info=b"countersign ledger lines")
        self._fernet: Any = Fernet(base64.urlsafe_b64encode(derived.derive(bytes.fromhex(key))))

    def seal(self, line: bytes) -> bytes:
        """The line, sealed; without a line break."""
        sealed: bytes = self._fernet.encrypt(line)
        return sealed

    def open(self, line: bytes) -> bytes:
        """The line as it was; ``ValueError`` where it was changed or the key is another one."""
        from cryptography.fernet import InvalidToken

        try:
            opened: bytes = self._fernet.decrypt(line)
        except InvalidToken:
            raise ValueError("sealed with another key, or changed") from None
        return opened
