"""Folders that Vosk loads: the model's acoustic part beside a graph compiled from the kit.

Vosk takes one folder, so each kit gets one in the user's cache, named by a hash of the model, the
kit and the grammar. It is made aside and renamed into place: two programs starting at once, or a
full disk, never leave half a folder behind.
"""

import hashlib
import shutil
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path

import platformdirs

from countersign.hearing import fst, grammar, graph, topology, tuning
from countersign.hearing.grammar import TRADE_WORDS
from countersign.hearing.graph import WordGraph, write_graph
from countersign.hearing.models import ModelInfo
from countersign.kit.model import Kit
from countersign.kit.pronounce import pronunciations_of
from countersign.problems import BadInput


def _key(model: ModelInfo, kit: Kit, name: str, conf: Mapping[str, bytes]) -> str:
    digest = hashlib.sha256(f"{model.sha256} {model.path} {name} {kit.model_dump_json()}".encode())
    for file, content in conf.items():
        digest.update(f"{file} {len(content)} ".encode() + content)
    for module in (fst, grammar, graph, topology, tuning):
        digest.update(Path(str(module.__file__)).read_bytes())
    return digest.hexdigest()[:24]


def compiled_folder(
    model: ModelInfo,
    kit: Kit,
    name: str,
    build: Callable[[Kit], WordGraph],
    decoding: Mapping[str, str] | None = None,
) -> Path:
    """The folder for this model, kit and graph, compiled now if it is not in the cache.

    ``decoding`` are options of ``model.conf`` that are set over the model's own. ``BadInput`` if a
    word of the kit has no pronunciation or the cache cannot be written.
    """
    cache = platformdirs.user_cache_path("countersign")
    conf = _conf(model, decoding or {})
    folder = cache / "graphs" / _key(model, kit, name, conf)
    if folder.is_dir():
        return folder
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        part = Path(tempfile.mkdtemp(dir=folder.parent, prefix="part-"))
    except OSError as error:
        raise BadInput(f"The cache folder {cache} cannot be written: {error.strerror}.") from None
    try:
        _link(model.path / "am", part / "am")
        (part / "conf").mkdir()
        for file, content in conf.items():
            (part / "conf" / file).write_bytes(content)
        own = {**TRADE_WORDS, **kit.pronunciations}
        write_graph(part / "graph", build(kit), lambda word: pronunciations_of(word, own))
        part.rename(folder)
    except ValueError as error:
        raise BadInput(f"The kit cannot be used: {error}; add it under [pronunciations].") from None
    except OSError as error:
        if not folder.is_dir():  # another program may just have made the same folder
            raise BadInput(
                f"The cache folder {cache} cannot be written: {error.strerror}."
            ) from None
    finally:
        if part.is_dir():
            shutil.rmtree(part, ignore_errors=True)
    return folder


def _conf(model: ModelInfo, decoding: Mapping[str, str]) -> dict[str, bytes]:
    """The files of the model's ``conf`` folder by name, with ``decoding`` set in ``model.conf``."""
    folder = model.path / "conf"
    try:
        files = {
            file.name: file.read_bytes() for file in sorted(folder.iterdir()) if file.is_file()
        }
    except OSError as error:
        raise BadInput(f"The model's folder {folder} cannot be read: {error.strerror}.") from None
    own = files.get("model.conf", b"").decode("utf-8", errors="replace").splitlines()
    kept = [line for line in own if line.strip().lstrip("-").partition("=")[0] not in decoding]
    lines = [*kept, *(f"--{option}={value}" for option, value in decoding.items())]
    return {**files, "model.conf": "".join(f"{line}\n" for line in lines).encode()}


def _link(source: Path, target: Path) -> None:
    try:
        target.symlink_to(source, target_is_directory=True)
    except OSError:  # a file system without links
        shutil.copytree(source, target)
