"""Faults by seed, upon every verb that writes, held against an independent book of what must be there.

    python benchmarks/faults.py [--faults 10000] [--seed 1] [--jobs 2] [--only TEXT] [--number N] [--out FILE]

Each fault is made upon a small invented house (benchmarks/faulting/house.py): a kill at a step or a moment, a full or
read-only disk, a pulled card, a flipped bit, a cut, a removal, two at once, a catalogue that is missing, older or
another's. Then a person's next steps are taken, and an own reader (benchmarks/faulting/book.py) looks whether
anything that was told to be kept is lost, whether Trod believes or says anything that is not so, and whether each
damage is found and named. Prints a table, and ends with 1 when there is anything to tell.

--number N does the N-th fault of that seed alone and tells all of it. Linux; as root it mounts small disks of its own,
in a mount namespace that ends with it; without root those are left out and counted as too late.
"""

from __future__ import annotations

import argparse
import gc
import importlib
import json
import os
import pkgutil
import random
import re
import shutil
import signal
import sqlite3
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent / "src"), str(HERE.parent / "tests" / "support"), str(HERE)]

WRITERS = (
    "card", "odd card", "identify", "undo", "page", "upload", "move", "worker", "backup", "restore", "rebuild", "export",
)  # fmt: skip
PAIRS = (
    "card + card", "card + backup", "card + identify", "card + page", "page + page", "identify + identify",
    "worker + page", "backup + page", "backup + backup", "upload + upload", "rebuild + page", "rebuild + card",
)  # fmt: skip
DAMAGE = ("bit flipped", "cut", "cut at a line end", "emptied", "file removed", "folder removed")
GOING_ON = ("serve", "card", "odd card", "backup", "identify", "page", "upload")
# (method of Trials, what it is done upon, weight). A weight is a share of all faults.
KINDS: tuple[tuple[str, tuple[str, ...], float], ...] = (
    ("kill_step", WRITERS, 20),
    ("kill_time", (*WRITERS, "report"), 10),
    ("full_step", WRITERS, 8),
    ("readonly_step", WRITERS, 4),
    ("small_disk", WRITERS, 4),
    ("pulled", ("card", "odd card", "worker", "backup", "restore"), 5),
    ("two", PAIRS, 4),
    ("catalogue", GOING_ON, 8),
    ("serve_killed", ("serve",), 3),
    ("damage verify", DAMAGE, 30),
    ("damage backup", DAMAGE, 3),
    ("damage restore", DAMAGE, 3),
    ("healed", ("file removed", "folder removed"), 2),
    ("demo_killed", ("demo",), 0.05),
)


def fault_of(seed: int, number: int, only: str) -> tuple[str, str, random.Random]:
    """The N-th fault of a seed: which kind, upon what, and the chance that decides the rest.

    only : a regular expression that is sought in "kind: what it is done upon"; empty for all.
    """
    rng = random.Random(f"{seed}/{number}")
    chosen = [(kind, tuple(u for u in upon if re.search(only, f"{kind}: {u}")), weight) for kind, upon, weight in KINDS]
    chosen = [k for k in chosen if k[1]]
    kind, upon, _ = rng.choices(chosen, [k[2] for k in chosen])[0]
    return kind, rng.choice(upon), rng


def preload() -> None:
    """Everything Trod can import is imported once, so that a forked child begins at once."""
    import trod
    from trod.catalogue.start import ready

    ready(migrate=False)
    for found in pkgutil.walk_packages(trod.__path__, "trod."):
        if not found.name.endswith(("__main__", ".wsgi")) and ".migrations" not in found.name:
            importlib.import_module(found.name)
    for name in ("trod.web.wsgi", "django.test", "django.db.migrations.autodetector", "PIL.JpegImagePlugin"):
        importlib.import_module(name)


def quick_migration(empty: Path) -> None:
    """A new catalogue gets its tables as a copy of an empty one; to make them anew takes two seconds each time.

    With TROD_FAULTS_MIGRATE they are really made, so that a kill meets them half made.
    """
    from django.core import management

    honest = management.call_command

    def call(name: Any, *words: Any, **more: Any) -> Any:
        from django.db import connection

        quick = empty.is_file() and not os.environ.get("TROD_FAULTS_MIGRATE")
        if name == "migrate" and quick and not connection.introspection.table_names():
            with sqlite3.connect(empty) as source, connection.wrap_database_errors:
                source.backup(connection.connection)
            return None
        return honest(name, *words, **more)

    management.call_command = call


class Worker:
    """One process with a house of its own, that does every n-th fault."""

    def __init__(self, root: Path, cpu: int | None, *, sabotage: bool = False) -> None:
        os.environ.update(TROD_HOME=str(root / "home"), TZ="UTC", DJANGO_SETTINGS_MODULE="trod.web.settings")
        os.environ.pop("TROD_DATABASE_URL", None)
        if cpu is not None:
            os.sched_setaffinity(0, {cpu})
        (root / "home").mkdir(parents=True)
        preload()
        from faulting import child
        from faulting.house import House, copy_base
        from faulting.trials import Trials

        empty = root / "empty.sqlite3"
        quick_migration(empty)
        child.run(child.trod("serve", "--make-account", "nobody"))  # no password is typed: tables alone
        made = root / "home" / "catalogue.sqlite3"
        if made.is_file():
            copy_base(made, empty)
        shutil.rmtree(root / "home")
        gc.collect()
        gc.freeze()
        self.house = House(root)
        self.house.build()
        self.trials = Trials(self.house, sabotage=sabotage)

    def do(self, seed: int, number: int, only: str) -> Any:
        name, upon, rng = fault_of(seed, number, only)
        method, _, then = name.partition(" ")
        if then:
            result = self.trials.damage(upon, rng, then=then)
        else:
            result = getattr(self.trials, method)(upon, rng)
        result.number = number
        return result


def work(root: Path, said: argparse.Namespace, share: int, pipe: int) -> None:
    """A worker's life: its share of the faults, each result as a line into the pipe."""
    from faulting.trials import Result

    cpus = sorted(os.sched_getaffinity(0))
    worker = Worker(root, cpus[share % len(cpus)], sabotage=said.sabotage)
    until = time.monotonic() + said.seconds if said.seconds else None
    with os.fdopen(pipe, "w") as out:
        for number in range(share, said.faults, said.jobs):
            if until and time.monotonic() > until:
                break
            try:
                result = worker.do(said.seed, number, said.only)
            except Exception as trouble:  # the harness, not Trod
                name, upon, _ = fault_of(said.seed, number, said.only)
                result = Result(name, upon, number, bare=[f"the harness: {type(trouble).__name__}: {trouble}"])
            out.write(json.dumps(result.plain()) + "\n")
            out.flush()


def lines_of(pipes: list[int]) -> Iterator[dict[str, Any]]:
    """Results as they come."""
    import selectors

    chosen = selectors.DefaultSelector()
    for fd in pipes:
        chosen.register(os.fdopen(fd, "r"), selectors.EVENT_READ)
    while chosen.get_map():
        for key, _ in chosen.select():
            line = key.fileobj.readline()  # type: ignore[union-attr]
            if line:
                yield json.loads(line)
            else:
                chosen.unregister(key.fileobj)


def main() -> int:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--faults", type=int, default=10_000)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--jobs", type=int, default=len(os.sched_getaffinity(0)))
    ask.add_argument("--only", default="", help="those alone in whose “kind: upon” this is found")
    ask.add_argument("--number", type=int, help="this fault of the seed alone, told in full")
    ask.add_argument("--seconds", type=float, default=0, help="begin no further fault after so long")
    ask.add_argument("--out", type=Path, help="write each result there, a JSON line each")
    ask.add_argument("--told", type=int, default=20, help="how many kinds of trouble to print in words")
    ask.add_argument("--sabotage", action="store_true", help="try the harness itself: take pictures away unseen")
    said = ask.parse_args()
    memory = Path("/dev/shm")
    place = memory if os.access(memory, os.W_OK) else None
    began = time.monotonic()
    signal.signal(signal.SIGTERM, lambda number, frame: sys.exit(143))  # so that the folder is taken away
    with tempfile.TemporaryDirectory(prefix="trod-faults-", dir=place, ignore_cleanup_errors=True) as folder:
        if said.number is not None:
            result = Worker(Path(folder) / "0", None, sabotage=said.sabotage).do(said.seed, said.number, said.only)
            print(json.dumps(result.plain(), indent=1))
            return int(result.bad)
        pipes, pids = [], []
        for share in range(said.jobs):
            take, give = os.pipe()
            pid = os.fork()
            if not pid:
                os.close(take)
                try:
                    work(Path(folder) / str(share), said, share, give)
                except BaseException:
                    import traceback

                    traceback.print_exc()
                    os._exit(70)
                os._exit(0)
            os.close(give)
            pipes.append(take)
            pids.append(pid)
        results = gathered(pipes, said)
        ends = [os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]) for pid in pids]
    return told(results, said, time.monotonic() - began, ends)


def gathered(pipes: list[int], said: argparse.Namespace) -> list[Any]:
    from faulting.trials import Result

    results = []
    with (said.out or Path(os.devnull)).open("w") as out:
        for line in lines_of(pipes):
            results.append(Result(**line))
            out.write(json.dumps(line) + "\n")
            if len(results) % 500 == 0:
                print(f"{len(results)} of {said.faults}", file=sys.stderr, flush=True)
    return results


def told(results: list[Any], said: argparse.Namespace, seconds: float, ends: list[int]) -> int:
    from faulting.table import as_text, as_words

    print(as_text(results))
    print(as_words(results, said.told))
    bad = [r for r in results if r.bad]
    print(f"\n{len(results)} faults of seed {said.seed} in {seconds:.0f} s by {said.jobs}; {len(bad)} with trouble.")
    return 1 if bad or any(ends) or not results else 0


if __name__ == "__main__":
    sys.exit(main())
