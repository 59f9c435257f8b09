"""How long a word takes behind many others: appended to identifications.jsonl, told to the register, all flushed.

python benchmarks/identifications.py [--words 30000] [--times 300] [--in FOLDER]
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "src"))

from trod.archive import papers, sidecar
from trod.archive.verify import verify


def a_word(number: int) -> dict[str, object]:
    """A word of the usual size."""
    return {
        "act": "say", "uuid": f"{number:036}", "by": "Ada Fenn", "at": "2026-05-01T04:05:06Z", "sequence": "e" * 60,
        "first": "f" * 64, "last": "l" * 64, "note": "",
        "observations": [{"what": "animal", "species": "red-deer", "count": 2}],
    }  # fmt: skip


def took_ms(doing: Callable[[], object]) -> float:
    began = time.perf_counter()
    doing()
    return (time.perf_counter() - began) * 1e3


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--words", type=int, default=30_000)
    asked.add_argument("--times", type=int, default=300)
    asked.add_argument("--in", dest="place", type=Path, default=None)
    args = asked.parse_args()
    with tempfile.TemporaryDirectory(dir=args.place) as made:
        root = Path(made) / "archive"
        folder = root / "site" / "deployment"
        folder.mkdir(parents=True)
        sidecar.append_identifications(folder, [a_word(n) for n in range(args.words)])
        papers.forget()
        first = took_ms(lambda: sidecar.append_identification(folder, a_word(0)))
        each = sorted(took_ms(lambda: sidecar.append_identification(folder, a_word(0))) for _ in range(args.times))
        looked = took_ms(lambda: verify(root))
        size = (folder / papers.IDENTIFICATIONS).stat().st_size / 1e6
    print(f"{args.words} words, {size:.1f} MB; the first of a process {first:.0f} ms, which reads them all")
    print(f"each after that: median {statistics.median(each):.1f} ms, p95 {each[int(len(each) * 0.95)]:.1f} ms")
    print(f"verify: {looked:.0f} ms")


if __name__ == "__main__":
    main()
