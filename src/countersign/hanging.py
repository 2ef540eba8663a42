"""Text on a terminal with a mark before it, wrapped beside the mark and not below it."""

from collections.abc import Iterable

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text


def hanging(rows: Iterable[tuple[str, Text]]) -> RenderableType:
    """One block of text for each mark (``?``, ``!``, a number), all of them aligned."""
    grid = Table.grid(padding=(0, 1, 0, 0))
    grid.add_column(no_wrap=True, justify="right")
    grid.add_column(overflow="fold")
    for mark, words in rows:
        grid.add_row(Text(mark, style=words.style), words)
    return grid
