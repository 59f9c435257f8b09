"""How often the overlap of two species' hours, as Trod tells it, holds the truth.

    PYTHONPATH=src python benchmarks/coverage_overlap.py [--replicates 400] [--seed 1]

Prints the table of docs/models/overlap.md. Times of day are thrown from known laws, for each the true overlap is known
by quadrature. Days differ: of each species so many detections as are wanted come singly, in bouts of three on average
within half an hour, or in bouts whose size is far from even. The rule was chosen on single and geometric bouts of day,
dusk, night, twin and flat laws, with other seeds; sharp, uneven and heavy cells it had never met.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable

import numpy as np

from trod.errors import NotEnoughEvidence
from trod.findings import circular
from trod.findings.overlapping import overlap

TURN = 2 * np.pi
AT = (np.arange(20_000) + 0.5) * TURN / 20_000
# (hour, κ, share) of each peak.
LAWS = {
    "day": ((12, 2.0, 1.0),),
    "later": ((14, 2.0, 1.0),),
    "dusk": ((19, 5.0, 1.0),),
    "night": ((0, 1.5, 1.0),),
    "twin": ((6, 8.0, 0.5), (19, 8.0, 0.5)),
    "flat": ((0, 0.0, 1.0),),
    "sharp": ((6, 20.0, 0.5), (20, 20.0, 0.5)),
    "uneven": ((5, 12.0, 0.5), (18, 6.0, 0.3), (0, 0.0, 0.2)),
}
PAIRS = (
    ("day", "day"), ("day", "later"), ("day", "dusk"), ("day", "night"), ("twin", "dusk"), ("flat", "twin"),
    ("twin", "twin"), ("sharp", "uneven"), ("sharp", "sharp"), ("night", "uneven"),
)  # fmt: skip
SIZES = ((30, 30), (30, 150), (100, 100), (400, 400))
BOUTS = ("single", "bouts", "heavy")


def density(law: str) -> np.ndarray:
    return sum(share * circular.von_mises(AT, hour * TURN / 24, kappa) for hour, kappa, share in LAWS[law])


def throw(law: str, n: int, bouts: str, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """n times of day [h] and the day of each."""

    def times(m: int) -> np.ndarray:
        peaks = LAWS[law]
        which = rng.choice(len(peaks), m, p=[share for _, _, share in peaks])
        middle = np.array([hour for hour, _, _ in peaks])[which] * TURN / 24
        kappa = np.maximum(np.array([k for _, k, _ in peaks], dtype=float)[which], 1e-9)
        return rng.vonmises(middle, kappa)

    size: Callable[[int], np.ndarray] = {
        "single": lambda m: np.ones(m, dtype=int),
        "bouts": lambda m: rng.geometric(1 / 3, m),
        "heavy": lambda m: 1 + rng.poisson(rng.gamma(0.3, 2 / 0.3, m)),
    }[bouts]
    sizes = size(n)
    sizes = sizes[: int(np.searchsorted(np.cumsum(sizes), n)) + 1]
    theta = np.repeat(times(len(sizes)), sizes) + rng.normal(0, 0.07, sizes.sum()) * (np.repeat(sizes, sizes) > 1)
    return circular.hours(theta)[:n], np.repeat(np.arange(len(sizes)), sizes)[:n]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--replicates", type=int, default=400)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--bouts", nargs="*", choices=BOUTS, default=BOUTS)
    given = parser.parse_args()
    print("| hours | true | bouts | n | refused % | coverage % | said to differ % | mean | mean width |")
    print("|---|---|---|---|---|---|---|---|---|")
    for number, (a, b) in enumerate(PAIRS):
        truth = min(1.0, float(np.minimum(density(a), density(b)).mean() * TURN))
        for bouts in given.bouts:
            for n, m in SIZES:
                rng = np.random.default_rng([given.seed, number, BOUTS.index(bouts), n, m])
                held = differ = refused = 0
                told, width = [], []
                for _ in range(given.replicates):
                    try:
                        found = overlap(*throw(a, n, bouts, rng), *throw(b, m, bouts, rng), draws=199)
                    except NotEnoughEvidence:
                        refused += 1
                        continue
                    held += found.interval.low <= truth <= found.interval.high
                    differ += found.p < 0.05
                    told.append(found.overlap)
                    width.append(found.interval.high - found.interval.low)
                kept = given.replicates - refused
                cell = f"| {a}, {b} | {truth:.2f} | {bouts} | {n}, {m} | {100 * refused / given.replicates:.0f} |"
                if kept < given.replicates / 10:
                    print(f"{cell} | | | |", flush=True)
                    continue
                print(
                    f"{cell} {100 * held / kept:.0f} | {100 * differ / kept:.0f} | {np.mean(told):.2f} | "
                    f"{np.mean(width):.2f} |",
                    flush=True,
                )


if __name__ == "__main__":
    main()
