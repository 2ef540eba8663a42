"""Where each key of a TOML document stands.

:mod:`tomllib` gives no lines for what it parsed, so this walks the same text once more. It expects
a document that :mod:`tomllib` has already accepted and therefore checks nothing.
"""

import re
import tomllib

KeyPath = tuple[str | int, ...]
"""Keys and list positions from the top of the document, e.g. ``("item", 3, "spoken", 0)``."""

_BLANK = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_PLAIN_VALUE = re.compile(r"[^,\]}#\n]*")
_STRINGS = (
    re.compile(r'"""(?:[^\\]|\\.)*?"""(?:"{0,2})', re.DOTALL),
    re.compile(r"'''.*?'''(?:'{0,2})", re.DOTALL),
    re.compile(r'"(?:[^"\\\n]|\\.)*"'),
    re.compile(r"'[^'\n]*'"),
)


def locate(text: str) -> dict[KeyPath, int]:
    """The line (from 1) of every table, key and list entry of a valid TOML document."""
    return _Walk(text).lines


def line_of(lines: dict[KeyPath, int], path: KeyPath) -> int:
    """The line of ``path``, or of the nearest thing around it that is written down; else 1."""
    for end in range(len(path), 0, -1):
        if path[:end] in lines:
            return lines[path[:end]]
    return 1


class _Walk:
    """One pass over the text; ``lines`` fills as it goes."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.line = 1
        self.lines: dict[KeyPath, int] = {}
        self.tables_seen: dict[KeyPath, int] = {}
        self._document()

    def _take(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.at)
        taken = match.group() if match else ""
        self.at += len(taken)
        self.line += taken.count("\n")
        return taken

    def _take_string(self) -> str:
        for pattern in _STRINGS:
            if taken := self._take(pattern):
                return taken
        return ""

    def _next(self, *expected: str) -> bool:
        """Whether one of these comes next; if so, it is taken."""
        for token in expected:
            if self.text.startswith(token, self.at):
                self.at += len(token)
                return True
        return False

    def _document(self) -> None:
        table: KeyPath = ()
        while self._take(_BLANK) is not None and self.at < len(self.text):
            before = self.at
            if self._next("[["):
                table = self._listed_table(self._key())
                self._next("]]")
            elif self._next("["):
                table = self._within(self._key())
                self._next("]")
            else:
                self._pair(table)
            if self.at == before:  # not TOML after all: stop rather than turn in circles
                return

    def _key(self) -> tuple[str, ...]:
        parts: list[str] = []
        while True:
            self._take(_SPACE)
            quoted = self._take_string()
            if quoted:
                parts.append(str(tomllib.loads(f"key = {quoted}")["key"]))
            else:
                parts.append(self._take(_BARE_KEY))
            self._take(_SPACE)
            if not self._next("."):
                return tuple(parts)

    def _within(self, key: tuple[str, ...]) -> KeyPath:
        """A table header's path; a list of tables on the way means its latest entry."""
        path: KeyPath = ()
        for part in key:
            path = (*path, part)
            if path in self.tables_seen:
                path = (*path, self.tables_seen[path] - 1)
            self.lines.setdefault(path, self.line)
        return path

    def _listed_table(self, key: tuple[str, ...]) -> KeyPath:
        listed: KeyPath = (*self._within(key[:-1]), key[-1])
        position = self.tables_seen.get(listed, 0)
        self.tables_seen[listed] = position + 1
        self.lines.setdefault(listed, self.line)
        self.lines[(*listed, position)] = self.line
        return (*listed, position)

    def _pair(self, table: KeyPath) -> None:
        line = self.line
        path: KeyPath = table
        for part in self._key():
            path = (*path, part)
            self.lines.setdefault(path, line)
        self._next("=")
        self._take(_SPACE)
        self._value(path)

    def _value(self, path: KeyPath) -> None:
        self.lines.setdefault(path, self.line)
        if self._take_string():
            return
        if self._next("["):
            position = 0
            self._take(_BLANK)
            while self.at < len(self.text) and not self._next("]"):
                self._value((*path, position))
                position += 1
                self._take(_BLANK)
                self._next(",")
                self._take(_BLANK)
        elif self._next("{"):
            self._take(_BLANK)
            while self.at < len(self.text) and not self._next("}"):
                self._pair(path)
                self._take(_BLANK)
                self._next(",")
                self._take(_BLANK)
        else:
            self._take(_PLAIN_VALUE)
