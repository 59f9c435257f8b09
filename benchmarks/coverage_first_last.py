"""How often the limit beside a first day holds: "none in so many site-days leaves room for up to … comings".

    python benchmarks/coverage_first_last.py [--throws 400]

One site watched for 92 days; detections at random, in runs, or growing through the season. The limit is told with the
first detection; it holds where the true rate before that detection is not above it. Told: rows of a Markdown table.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from trod.findings import rates, runs
from trod.findings.first_last import LEVEL

DAYS = 92.0
Floats = NDArray[np.float64]


def at_random(rng: np.random.Generator, expected: float) -> Floats:
    """Times of single detections, in days."""
    return np.asarray(np.sort(rng.uniform(0, DAYS, rng.poisson(expected))), dtype=float)


def in_runs(rng: np.random.Generator, expected: float) -> Floats:
    """Runs at random, each of four detections on average (geometric) within five days."""
    starts = rng.uniform(-5, DAYS, rng.poisson(expected / 4 * (DAYS + 5) / DAYS))
    times = np.concatenate([s + np.sort(rng.uniform(0, 5, rng.geometric(0.25))) for s in starts] or [np.zeros(0)])
    return np.asarray(np.sort(times[(times >= 0) & (times < DAYS)]), dtype=float)


def growing(rng: np.random.Generator, expected: float) -> Floats:
    """Single detections, ever more often from none at the beginning."""
    return np.asarray(np.sort(DAYS * np.sqrt(rng.uniform(0, 1, rng.poisson(expected)))), dtype=float)


LAWS: tuple[tuple[str, Callable[[np.random.Generator, float], Floats], Callable[[float, float], float]], ...] = (
    ("at random", at_random, lambda expected, until: expected / DAYS),
    ("in runs of 4 within 5 days", in_runs, lambda expected, until: expected / DAYS),
    ("growing from none, mean rate until the first", growing, lambda expected, until: expected * until / DAYS**2),
)


def allowed(times: Floats) -> float:
    """Detections that a silence still allows, from how these scatter between the weeks."""
    edges = np.append(np.arange(0.0, DAYS, 7.0), DAYS)
    scatter = runs.scatter([np.histogram(times, edges)[0].astype(float).tolist()], [np.diff(edges).tolist()])
    return runs.none_seen(scatter, LEVEL)


def main() -> None:
    """Print the table."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--throws", type=int, default=400)
    throws = asked.parse_args().throws
    rng = np.random.default_rng(11)
    print(
        "| detections | expected in 92 days | told, % | limit holds, % of those told | without the allowance for runs |"
    )
    print("|---|---|---|---|---|")
    for name, law, truth in LAWS:
        for expected in (4.0, 15.0, 60.0):
            told = held = bare = 0
            for _ in range(throws):
                times = law(rng, expected)
                if len(times) and times[0] >= 1:
                    told += 1
                    rate = truth(expected, float(times[0]))
                    bare += rates.upper_limit_when_none(LEVEL) / times[0] >= rate
                    held += allowed(times) / times[0] >= rate
            shares = (told / throws, held / max(told, 1), bare / max(told, 1))
            print(f"| {name} | {expected:.0f} | " + " | ".join(f"{100 * share:.0f}" for share in shares) + " |")


if __name__ == "__main__":
    main()
