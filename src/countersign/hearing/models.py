"""Model folders: the bundled one, one that the user chose, and what is in a folder."""

import hashlib
import json
from pathlib import Path

import platformdirs
from pydantic import BaseModel, ConfigDict

from countersign.problems import BadInput

_NAME = "counting-en"
_CHOICE = "model.json"
_SUMS = "SHA256SUMS"


class ModelInfo(BaseModel):
    """What a model folder is.

    ``compiled`` is true for folders in the project's own layout, whose decoding graph is compiled
    from the kit; false for published Vosk folders, which bring their own. ``word_list`` says
    whether a published model takes a list of words at run time. ``size_bytes`` is the whole folder,
    ``sha256`` the hash of the network's file.
    """

    model_config = ConfigDict(frozen=True)

    name: str
    path: Path
    compiled: bool
    word_list: bool
    size_bytes: int
    sha256: str

    @property
    def version(self) -> str:
        """Which weights these are, for records and papers: the name and a piece of the hash."""
        return f"{self.name} {self.sha256[:12]}"


def bundled_model() -> Path:
    """The model folder that comes with the program; ``BadInput`` where it is missing."""
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "models" / _NAME, package.parents[1] / "models" / _NAME):
        if (folder / "am" / "final.mdl").is_file():
            return folder
    raise BadInput("The bundled model is missing; install countersign again.")


def _choice_file() -> Path:
    return platformdirs.user_config_path("countersign") / _CHOICE


def current_model() -> Path:
    """The folder the user chose, or the bundled one."""
    try:
        chosen = Path(json.loads(_choice_file().read_text(encoding="utf-8"))["path"])
    except FileNotFoundError:
        return bundled_model()
    except (OSError, ValueError, KeyError, TypeError):
        raise BadInput(
            f"The saved model choice in {_choice_file()} cannot be read; choose again with"
            " 'countersign model use PATH'."
        ) from None
    describe_model(chosen)
    return chosen


def use_model(path: Path) -> ModelInfo:
    """Remember ``path`` as the model to use; ``BadInput`` if it is not a Vosk model folder."""
    info = describe_model(path)
    target = _choice_file()
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        part = target.with_suffix(".part")
        part.write_text(json.dumps({"path": str(info.path)}), encoding="utf-8")
        part.replace(target)
    except OSError as error:
        raise BadInput(f"The model choice cannot be saved in {target}: {error.strerror}.") from None
    return info


def describe_model(path: Path) -> ModelInfo:
    """What the folder holds; ``BadInput`` if it is not a model that Vosk loads, or is damaged."""
    folder = path.expanduser().resolve()
    if not folder.is_dir():
        raise BadInput(f"There is no model folder at {path}.")
    acoustic = folder / "am" / "final.mdl"
    if not acoustic.is_file():
        raise BadInput(f"The folder {path} is not a Vosk model folder: am/final.mdl is missing.")
    static = (folder / "graph" / "HCLG.fst").is_file()
    dynamic = all((folder / "graph" / name).is_file() for name in ("HCLr.fst", "Gr.fst"))
    compiled = (folder / _SUMS).is_file()
    if compiled:
        _check_sums(folder)
    elif not (static or dynamic):
        raise BadInput(f"The folder {path} is not a Vosk model folder: it has no decoding graph.")
    return ModelInfo(
        name=folder.name,
        path=folder,
        compiled=compiled,
        word_list=dynamic and not compiled,
        size_bytes=sum(file.stat().st_size for file in folder.rglob("*") if file.is_file()),
        sha256=_digest(acoustic),
    )


def _digest(file: Path) -> str:
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _check_sums(folder: Path) -> None:
    lines = (folder / _SUMS).read_text(encoding="utf-8", errors="replace").splitlines()
    sums = {name: digest for digest, _, name in (line.partition("  ") for line in lines)}
    used = [folder / "confidence.json", *folder.glob("am/*"), *folder.glob("conf/*")]
    present = {file.relative_to(folder).as_posix() for file in used if file.is_file()}
    for name in sorted({"am/final.mdl", *sums, *present}):  # a list that was cut lacks some
        file = folder / name
        if not file.is_file() or _digest(file) != sums.get(name):
            raise BadInput(
                f"The model in {folder} is damaged: {name} does not match its checksum; install"
                " countersign again."
            )
