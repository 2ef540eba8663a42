"""Measuring recordings of practice in the background of the server."""

import json
import logging
import secrets
import shutil
import threading
from pathlib import Path
from typing import BinaryIO

from pydantic import BaseModel, ConfigDict, ValidationError

from countersign.pages.served import Served
from countersign.problems import BadInput
from countersign.review.batch import Job, Outcome, jobs_in, measure_all, workers
from countersign.review.store import Store, store_path
from countersign.settings import beside

_log = logging.getLogger(__name__)

_KEPT_PROBLEMS = 50
_JOB = ".job.json"


class Progress(BaseModel):
    """How far the work is; ``problems`` are sentences about recordings that could not be used."""

    model_config = ConfigDict(frozen=True)

    total: int
    done: int
    problems: tuple[str, ...] = ()

    @property
    def left(self) -> int:
        """How many recordings wait."""
        return self.total - self.done


class Studio:
    """One batch at a time, in processes of its own. What is uploaded waits on disk, so that a
    server that was stopped goes on with it.
    """

    def __init__(self, served: Served) -> None:
        """Nothing is started yet."""
        self.store = Store(store_path(beside(served.ledger)))
        self._served = served
        self._incoming = self.store.folder / "incoming"
        self._waiting: list[Job] = []
        self._total = self._done = 0
        self._problems: list[str] = []
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    @property
    def progress(self) -> Progress:
        """How far the work is."""
        with self._lock:
            return Progress(total=self._total, done=self._done, problems=tuple(self._problems))

    def take(self, name: str, learner: str, content: BinaryIO) -> None:
        """Keep an uploaded recording under a name of our own, and measure it when its turn comes.

        ``BadInput`` where it cannot be kept.
        """
        path = self._incoming / secrets.token_hex(12)
        job = Job(
            recording=path,
            store=self.store.folder,
            learner=learner,
            name=name,
            kit=self._served.kit,
            model=self._served.model,
        )
        try:
            self._incoming.mkdir(parents=True, exist_ok=True, mode=0o700)
            part = path.with_suffix(".part")
            with part.open("wb") as file:
                shutil.copyfileobj(content, file)
            part.replace(path)
            path.with_suffix(_JOB).write_text(job.model_dump_json(), encoding="utf-8")
        except OSError as error:
            raise BadInput(f"The recording cannot be kept ({error.strerror}).") from error
        self._enqueue([job])

    def take_folder(self, folder: Path, learner: str) -> int:
        """Measure a folder that lies on this machine; gives how many recordings are in it."""
        jobs = jobs_in(
            folder,
            self.store.folder,
            learner=learner,
            kit=self._served.kit,
            model=self._served.model,
        )
        self._enqueue(jobs)
        return len(jobs)

    def go_on(self) -> None:
        """Take up what was uploaded to a server that was stopped."""
        jobs = []
        for file in sorted(self._incoming.glob(f"*{_JOB}")):
            try:
                job = Job.model_validate(json.loads(file.read_text(encoding="utf-8")))
            except (OSError, ValueError, ValidationError):
                _log.warning("%s cannot be read", file)
                continue
            if job.recording.parent == self._incoming and job.recording.is_file():
                jobs.append(job)
        if jobs:
            self._enqueue(jobs)

    def close(self) -> None:
        """Stop after the recordings that are being measured."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join()

    def _enqueue(self, jobs: list[Job]) -> None:
        with self._lock:
            if self._thread is None:  # the last batch is over: its figures are, too
                self._total = self._done = 0
                self._problems.clear()
            self._waiting += jobs
            self._total += len(jobs)
            if self._thread is None:
                self._thread = threading.Thread(target=self._run, name="studio", daemon=True)
                self._thread.start()

    def _run(self) -> None:
        try:
            with workers() as pool:
                while True:
                    with self._lock:
                        jobs, self._waiting = self._waiting, []
                        if not jobs or self._stop.is_set():
                            self._thread = None
                            return
                    measure_all(jobs, pool, self._ended, self._stop)
        except Exception:
            _log.exception("measuring stopped")
            with self._lock:
                self._problems.append("Measuring stopped because of an error in the program.")
                self._done, self._waiting, self._thread = self._total, [], None

    def _ended(self, outcome: Outcome) -> None:
        with self._lock:
            self._done += 1
            if outcome.problem:
                name = self._name_of(outcome.recording)
                sentence = outcome.problem.replace(str(outcome.recording), name)
                self._problems = [*self._problems, sentence][-_KEPT_PROBLEMS:]
        if outcome.recording.parent == self._incoming:
            outcome.recording.unlink(missing_ok=True)
            outcome.recording.with_suffix(_JOB).unlink(missing_ok=True)

    def _name_of(self, recording: Path) -> str:
        """What people call the recording; an uploaded one lies under a name of our own."""
        if recording.parent != self._incoming:
            return recording.name
        try:
            return Job.model_validate_json(recording.with_suffix(_JOB).read_bytes()).name
        except (OSError, ValidationError):
            return "The recording"
