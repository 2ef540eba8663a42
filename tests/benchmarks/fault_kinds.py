"""Faults of the machine under the ledger, each really made to happen, once a call."""

import os
import resource
import shutil
import signal
import subprocess
import time
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path

from tests.benchmarks.fault_scene import (
    NAME,
    Child,
    Outcome,
    Scene,
    child,
    confirm,
    look,
)

from countersign.hearing.models import bundled_model, describe_model
from countersign.ledger import entries as entries_module
from countersign.ledger import open_ledger
from countersign.problems import BadInput

PAGE = 4096


class NotHere(Exception):
    """This fault cannot be made on this machine; the message says why."""


def confirming(scene: Scene, who: str, many: int, path: Path | None = None) -> Child:
    """A process that confirms so many lines, one after the other."""

    def work(told: int) -> None:
        with closing(open_ledger(path or scene.path, create=False, patience_s=20)) as ledger:
            for number in range(many):
                confirm(ledger, scene.case, f"{who} {number}", told)

    return child(work)


def killed(scene: Scene) -> Outcome:
    """kill -9 at a random moment of opening and confirming."""
    outcome = Outcome()
    worker = confirming(scene, "killed", 1_000)
    if scene.chance.random() < 0.7:
        worker.wait_for_word()
    time.sleep(scene.chance.uniform(0, 0.06))
    worker.kill()
    worker.finish(scene, outcome)
    return look(scene, outcome)


def _mounted(scene: Scene, size_kib: int) -> Path:
    disk = scene.folder / "disk"
    disk.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", f"size={size_kib}k", "tmpfs", str(disk)]
    if os.geteuid() != 0 or subprocess.run(command, capture_output=True, check=False).returncode:
        raise NotHere("mounting a small disk is not allowed here")
    return disk


def disk_full(scene: Scene) -> Outcome:
    """A small disk that fills while lines are confirmed, and is made larger afterwards."""
    outcome = Outcome()
    files = [path for path in scene.folder.iterdir() if path.is_file()]
    needed = sum(-(-path.stat().st_size // PAGE) * 4 for path in files)
    disk = _mounted(scene, needed + scene.chance.randrange(40, 240, 4))
    try:
        for path in files:
            shutil.copy(path, disk)
        status = confirming(scene, "full", 400, disk / NAME).finish(scene, outcome)
        if status or not outcome.refused:
            outcome.unclear.append(f"the disk was full and nothing was said (status {status})")
        subprocess.run(["mount", "-o", "remount,size=64m", str(disk)], check=True)
        return look(scene, outcome, disk / NAME)
    finally:
        subprocess.run(["umount", "-l", str(disk)], check=False)


def file_limit(scene: Scene) -> Outcome:
    """No file may grow beyond a limit (RLIMIT_FSIZE), as on a quota."""
    outcome = Outcome()
    limit = scene.path.stat().st_size + scene.chance.randrange(0, 120_000)

    def work(told: int) -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
        with closing(open_ledger(scene.path, create=False)) as ledger:
            for number in range(300):
                confirm(ledger, scene.case, f"limit {number}", told)

    if child(work).finish(scene, outcome) or not outcome.refused:
        outcome.unclear.append("the limit was reached and nothing was said")
    return look(scene, outcome)


def read_only(scene: Scene) -> Outcome:
    """The ledger's disk is mounted read-only, before it is opened or while it is open."""
    outcome = Outcome()
    disk = _mounted(scene, 8_192)
    try:
        for path in [path for path in scene.folder.iterdir() if path.is_file()]:
            shutil.copy(path, disk)
        subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
        status = confirming(scene, "read-only", 3, disk / NAME).finish(scene, outcome)
        if status or not outcome.refused:
            outcome.unclear.append("the disk was read-only and nothing was said")
        subprocess.run(["mount", "-o", "remount,rw", str(disk)], check=True)
        return look(scene, outcome, disk / NAME)
    finally:
        subprocess.run(["umount", "-l", str(disk)], check=False)


def read_only_folder(scene: Scene) -> Outcome:
    """The ledger's folder may be read and not written, on a disk that may."""
    outcome = Outcome()
    folder = str(scene.folder)
    # also root is held by a mount, as it is not by permissions
    subprocess.run(["mount", "--bind", folder, folder], check=True)
    try:
        subprocess.run(["mount", "-o", "remount,bind,ro", folder], check=True)
        status = confirming(scene, "read-only", 3).finish(scene, outcome)
        if status or not outcome.refused:
            outcome.unclear.append("the folder was read-only and nothing was said")
    finally:
        subprocess.run(["umount", folder], check=True)
    return look(scene, outcome)


def clock_jumps(scene: Scene) -> Outcome:
    """The clock of the computer jumps by up to ten years before every entry."""
    outcome = Outcome()
    chance = scene.chance

    class Jumping(datetime):
        @classmethod
        def now(cls, tz=None):  # type: ignore[no-untyped-def, override]
            return datetime.now(tz) + timedelta(seconds=chance.uniform(-3e8, 3e8))

    def work(told: int) -> None:
        entries_module.datetime = Jumping  # type: ignore[attr-defined]
        with closing(open_ledger(scene.path, create=False)) as ledger:
            for number in range(8):
                confirm(ledger, scene.case, f"clock {number}", told)

    child(work).finish(scene, outcome)
    return look(scene, outcome)


def _damage(path: Path, scene: Scene) -> None:
    """A page overwritten, some bytes of it, or one bit turned over, at a random place."""
    data = bytearray(path.read_bytes())
    chance = scene.chance
    page = chance.randrange(max(1, len(data) // PAGE)) * PAGE
    how = chance.choice(("page", "zeros", "bytes", "bit"))
    if how == "page":
        data[page : page + PAGE] = chance.randbytes(len(data[page : page + PAGE]))
    elif how == "zeros":
        data[page : page + PAGE] = bytes(len(data[page : page + PAGE]))
    elif how == "bytes":
        at, length = chance.randrange(len(data)), chance.randrange(1, 300)
        data[at : at + length] = chance.randbytes(len(data[at : at + length]))
    else:
        data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
    path.write_bytes(data)


def corrupt_page(scene: Scene) -> Outcome:
    """The disk gives back a wrong page of the ledger file."""
    _damage(scene.path, scene)
    return look(scene, Outcome())


def corrupt_copy(scene: Scene) -> Outcome:
    """The running copy is damaged; the ledger is whole."""
    _damage(scene.path.with_name(f"{NAME}.copy"), scene)
    return look(scene, Outcome())


def torn_wal(scene: Scene) -> Outcome:
    """The write-ahead log of a program that was killed is cut, or damaged, at a random place."""
    outcome = Outcome()
    worker = confirming(scene, "torn", 1_000)
    for _ in range(scene.chance.randrange(1, 6)):
        worker.wait_for_word()
    worker.kill()
    worker.finish(scene, outcome)
    wal = scene.path.with_name(f"{NAME}-wal")
    if wal.exists() and wal.stat().st_size:
        if scene.chance.random() < 0.6:
            os.truncate(wal, scene.chance.randrange(wal.stat().st_size))
        else:
            _damage(wal, scene)
        scene.path.with_name(f"{NAME}-shm").unlink(missing_ok=True)
    return look(scene, outcome)


def two_writers(scene: Scene) -> Outcome:
    """Two programs confirm lines of one case at once; sometimes one of them is killed."""
    outcome = Outcome()
    both = [confirming(scene, who, 10) for who in ("first", "second")]
    if scene.chance.random() < 0.5:
        both[0].wait_for_word()
        both[0].kill()
    for worker in both:
        worker.finish(scene, outcome)
    return look(scene, outcome)


def memory_limit(scene: Scene) -> Outcome:
    """Other things fill the memory that the process may have (RLIMIT_AS) up to the last bit."""
    outcome = Outcome()
    left, late = scene.chance.randrange(0, 120), scene.chance.random() < 0.5

    def fill() -> list[bytearray]:
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
        limit = pages * os.sysconf("SC_PAGE_SIZE") + (24 << 20)
        resource.setrlimit(resource.RLIMIT_AS, (limit, limit))
        held: list[bytearray] = []
        for size in (1 << 20, 1 << 14, 1 << 10):
            try:
                while True:
                    held.append(bytearray(size))
            except MemoryError:
                continue
        del held[len(held) - left :]
        return held

    def work(told: int) -> None:
        held: list[bytearray] = []
        try:
            held = [] if late else fill()
            with closing(open_ledger(scene.path, create=False)) as ledger:
                held = fill() if late else held
                for number in range(200):
                    confirm(ledger, scene.case, f"memory {number}", told)
                    if number % 2:
                        held.append(bytearray(1 << 20))
        except MemoryError:  # as the command says it
            held.clear()
            os.write(told, b"said There is not enough memory; what was kept before stays.\n")

    status = child(work).finish(scene, outcome)
    if os.WIFSIGNALED(status):
        outcome.unclear.append(f"the process ended by signal {os.WTERMSIG(status)}")
    elif not outcome.refused and not outcome.unclear:
        outcome.unclear.append("memory did not run out")
    return look(scene, outcome)


def model_damaged(scene: Scene) -> Outcome:
    """A file of the acoustic model is missing, cut or has other bytes; or the folder is gone."""
    outcome = Outcome()
    model = scene.folder / "model"
    shutil.copytree(bundled_model(), model)
    summed = [model / line.split("  ")[1] for line in
              (model / "SHA256SUMS").read_text(encoding="utf-8").splitlines()]  # fmt: skip
    file = scene.chance.choice([*summed, model / "SHA256SUMS"])
    how = scene.chance.choice(("missing", "cut", "bytes", "folder"))
    if how == "folder":
        shutil.rmtree(model)
    elif how == "missing" and file.name != "SHA256SUMS":
        file.unlink()
    elif how == "cut":
        os.truncate(file, scene.chance.randrange(file.stat().st_size))
    else:
        data = bytearray(file.read_bytes())
        data[scene.chance.randrange(min(len(data), 64))] ^= 0x15
        file.write_bytes(data)
    try:
        describe_model(model)
        outcome.unclear.append(f"the model was used although {file.name} was damaged ({how})")
    except BadInput as problem:
        outcome.refuse(str(problem))
    return look(scene, outcome)
