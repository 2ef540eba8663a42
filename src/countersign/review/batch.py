"""Folders of recordings: measured in the background on all cores, going on where it stopped.

The work is one plain function of one job, so that a pool of processes and a Dask cluster run the
same code; Dask gives a pool that looks like the standard library's.
"""

import logging
import multiprocessing
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from functools import lru_cache
from importlib import import_module
from pathlib import Path
from threading import Event as Flag

from pydantic import BaseModel, ConfigDict

from countersign.hearing import Ears, open_ears
from countersign.hearing.models import ModelInfo, current_model, describe_model
from countersign.kit import Kit, demo_kit_path, read_kit
from countersign.problems import BadInput
from countersign.review.analysis import analyse, attempt_id, made_with
from countersign.review.store import Store, is_learner

_log = logging.getLogger(__name__)

ENDINGS = frozenset({".wav", ".flac", ".ogg", ".oga", ".opus", ".mp3", ".m4a", ".aiff", ".aif"})
MOST_FILES = 10_000
ANSWERS_S = 10.0
"""A scheduler that has not answered by then is not there."""


class Job(BaseModel):
    """One recording to be measured; ``kit`` and ``model`` are ``None`` for the usual ones."""

    model_config = ConfigDict(frozen=True)

    recording: Path
    store: Path
    learner: str = ""
    name: str = ""
    kit: Path | None = None
    model: Path | None = None


class Outcome(BaseModel):
    """What came of a job: the attempt's id, or one sentence on why there is none.

    ``before`` is true where it had been measured before.
    """

    model_config = ConfigDict(frozen=True)

    recording: Path
    attempt_id: str | None = None
    before: bool = False
    problem: str = ""


OnDone = Callable[[Outcome], None]


def jobs_in(
    path: Path,
    store: Path,
    *,
    learner: str = "",
    kit: Path | None = None,
    model: Path | None = None,
) -> list[Job]:
    """A job for the recording, or for each one in the folder and the folders in it.

    Without ``learner``, a folder whose name can be a learner's code names the learner of what is
    in it. ``BadInput`` where there is nothing to measure.
    """
    if not is_learner(learner):
        raise BadInput("A learner's code is of letters, figures and dashes, at most twelve.")
    if path.is_file():
        found = [path]
    elif path.is_dir():
        found = sorted(
            file
            for file in path.rglob("*")
            if file.suffix.lower() in ENDINGS and file.is_file() and not file.is_symlink()
        )
    else:
        raise BadInput(f"{path} does not exist.")
    if not found:
        raise BadInput(f"There is no recording in {path}.")
    if len(found) > MOST_FILES:
        raise BadInput(f"{path} has more than {MOST_FILES} recordings; take one folder at a time.")
    return [
        Job(
            recording=file.absolute(),
            store=store,
            learner=learner or _learner_of(file, path),
            kit=kit,
            model=model,
        )
        for file in found
    ]


def _learner_of(file: Path, root: Path) -> str:
    inside = file.relative_to(root).parts[:-1] if root.is_dir() else ()
    return inside[0] if inside and is_learner(inside[0]) else ""


def measure(job: Job) -> Outcome:
    """Measure one recording, unless it was measured before with the same kit and model.

    Never raises for what is wrong with the recording: that is the outcome.
    """
    store = Store(job.store)
    try:
        kit = _kit(job.kit)
        identity = attempt_id(job.recording)
        model = _model(job.model)
        if store.is_measured(identity, made_with(kit, model)):
            return Outcome(recording=job.recording, attempt_id=identity, before=True)
        attempt = analyse(
            job.recording, kit, _ears(job.kit, job.model), learner=job.learner, name=job.name
        )
        store.keep(attempt, job.recording)
    except BadInput as problem:
        return Outcome(recording=job.recording, problem=str(problem))
    except OSError as error:
        return Outcome(recording=job.recording, problem=f"{job.recording}: {error.strerror}.")
    return Outcome(recording=job.recording, attempt_id=identity)


@lru_cache(maxsize=1)
def _kit(path: Path | None) -> Kit:
    return read_kit(path or demo_kit_path())


@lru_cache(maxsize=1)
def _model(path: Path | None) -> ModelInfo:
    return describe_model(path or current_model())


@lru_cache(maxsize=1)
def _ears(kit: Path | None, model: Path | None) -> Ears:
    return open_ears(_kit(kit), model)


@contextmanager
def workers(processes: int | None = None, *, dask: str | None = None) -> Iterator[Executor]:
    """A pool: processes on this machine (all cores), or a Dask cluster.

    ``dask`` is the address of a scheduler, or ``local`` for one that is started here. Workers of a
    cluster must see the recordings and the store under the same paths. ``BadInput`` where Dask is
    not installed or the scheduler does not answer.
    """
    count = processes or os.cpu_count() or 1
    if dask is None:
        # spawned, not forked: the models' threads do not survive a fork
        context = multiprocessing.get_context("spawn")
        pool = ProcessPoolExecutor(count, mp_context=context, initializer=_give_way)
        try:
            yield pool
        finally:
            pool.shutdown(wait=True, cancel_futures=True)
        return
    try:
        distributed = import_module("distributed")
    except ImportError:
        raise BadInput(
            "Dask is not installed; install it with: pip install 'countersign[dask]'."
        ) from None
    try:
        client = (
            distributed.Client(n_workers=count, threads_per_worker=1, dashboard_address=None)
            if dask == "local"
            else distributed.Client(dask, timeout=ANSWERS_S)
        )
    except (OSError, ValueError) as error:
        raise BadInput(f"The Dask scheduler {dask} does not answer ({error}).") from None
    with client, client.get_executor() as executor:
        yield executor


def _give_way() -> None:
    """Live listening on the same machine comes first."""
    if hasattr(os, "nice"):
        os.nice(10)


def measure_all(
    jobs: Sequence[Job], executor: Executor, on_done: OnDone, stop: Flag | None = None
) -> None:
    """Run every job; ``on_done`` is called in this thread with each outcome as it comes.

    Once ``stop`` is set no further job begins; what was measured is kept, and another run goes on
    from there.
    """
    futures = {executor.submit(measure, job): job for job in jobs}
    for future in as_completed(futures):
        if future.cancelled():
            continue
        try:
            on_done(future.result())
        except BrokenProcessPool:
            sentence = f"{futures[future].recording}: the process that listened to it ended."
            on_done(Outcome(recording=futures[future].recording, problem=sentence))
        if stop is not None and stop.is_set():
            for other in futures:
                other.cancel()
