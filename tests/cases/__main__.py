"""``python -m tests.cases SEED``: print an invented case with its truth, or only its words."""

from typing import Annotated

import typer
from rich.console import Console
from tests.cases.generate import generate
from tests.cases.show import show

from countersign.kit import demo_kit_path, read_kit


def main(
    seed: Annotated[int, typer.Argument(help="The same seed gives the same case.")],
    lines: Annotated[int, typer.Option(help="About how many things happen.")] = 120,
    words: Annotated[bool, typer.Option(help="Only the words, one utterance a line.")] = False,
    voices: Annotated[bool, typer.Option(help="The words with the voice before each.")] = False,
) -> None:
    """Print an invented case."""
    case = generate(read_kit(demo_kit_path()), seed, lines=lines)
    if words or voices:
        for utterance in case.utterances:
            print(f"{utterance.voice}: {utterance.text}" if voices else utterance.text)
        return
    show(case, Console())


if __name__ == "__main__":
    typer.run(main)
