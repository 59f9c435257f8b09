"""Are the known faults of a camera's clock found, mended rightly, and none invented on a right clock?

    python benchmarks/clock_faults.py --cards 400 --seed 1

Cards are made up: 150 to 1,500 pictures over 20 to 120 days at 30 to 55° north or south, lights as in
`benchmarks/clock_daylight.py`, and a person on the first and the last picture of nine cards in ten (within five minutes
of the noted visit, which itself is noted to ten minutes). *Right* means that 95 of 100 pictures lie within 30 minutes
of the truth after the proposals are taken; *right after a look* that they do when a person, asked whether a picture
shows their own visit, chooses among the shifts that are offered; *wrong* that something was proposed which puts them
elsewhere; the rest was seen and left to a person, or not seen.
"""

from __future__ import annotations

import argparse
import math
from collections import Counter
from datetime import UTC, datetime

import clock_daylight as lit
import numpy as np

from trod.timekeeping import faults
from trod.timekeeping.faults import Reading, Stay

DAY_S = 86_400.0
WELL_S, MOST = 30 * 60.0, 0.95
FAULTS = (
    "none", "none, right but no place", "offset", "an hour", "half a day", "summer time", "reset in the field",
    "never set", "leapt ahead 540 days", "drift", "day and month swapped", "wrong year",
)  # fmt: skip


def card(fault: str, fewest: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray, np.ndarray, Stay] | None:
    """Shown times in the order of the files, flags, true times, what is known of the stay."""
    cell = lit.Cell(
        int(math.exp(rng.uniform(math.log(fewest), math.log(10 * fewest)))),
        int(rng.integers(20, 121)),
        float(rng.choice([-1, 1]) * rng.uniform(30, 55)),
        str(rng.choice(["crepuscular", "nocturnal", "any hour"])),
    )
    shown, grey, fast, longitude = lit.made(cell, rng)
    true = shown - 60 * fast
    begun, ended = true[0] - rng.uniform(0, 2 * DAY_S), true[-1] + rng.uniform(0, 2 * DAY_S)
    if rng.random() < 0.9:
        true = np.concatenate([[begun + rng.uniform(0, 300)], true, [ended - rng.uniform(0, 300)]])
        grey = np.concatenate([[False], grey, [False]])
    n, true = len(true), np.sort(true)
    at = int(rng.uniform(0.2, 0.8) * n)
    changes: tuple[float, ...] = ()
    readings: tuple[Reading, ...] = ()
    shown = true.copy()
    if fault == "offset":
        shown = true + rng.choice([-1, 1]) * rng.uniform(90, 600) * 60
    elif fault == "an hour":
        shown = true + rng.choice([-1, 1]) * 3600
    elif fault == "half a day":
        shown = true + rng.choice([-1, 1]) * 12 * 3600
    elif fault == "summer time":
        changes = (float(math.floor(true[at] / DAY_S) * DAY_S + 3600),)
        shown = np.where(true < changes[0], true, true + rng.choice([-1, 1]) * 3600)
    elif fault == "reset in the field":
        year = datetime.fromtimestamp(true[0], UTC).year - int(rng.integers(1, 6))
        shown[at:] = true[at:] - true[at] + datetime(year, 1, 1, tzinfo=UTC).timestamp() + rng.uniform(0, 600)
    elif fault == "never set":
        shown = true - begun + datetime(2017, 1, 1, tzinfo=UTC).timestamp() + rng.uniform(0, 3600)
    elif fault == "leapt ahead 540 days":
        shown[at:] = true[at:] + 540 * DAY_S
    elif fault == "drift":
        rate = rng.choice([-1, 1]) * rng.uniform(20, 120)
        shown = true + (true - begun) / DAY_S * rate
        shown_end = ended + (ended - begun) / DAY_S * rate
        readings = (Reading(shown_s=begun, true_s=begun), Reading(shown_s=shown_end, true_s=ended))
        if abs(shown_end - ended) < 300:
            return None
    elif fault == "day and month swapped":
        day = datetime.fromtimestamp(begun, UTC)
        if day.day > 12 or day.day == day.month:
            return None
        shown = true + day.replace(month=day.day, day=day.month).timestamp() - day.timestamp()
    elif fault == "wrong year":
        day = datetime.fromtimestamp(begun, UTC)
        if (day.month, day.day) == (2, 29):
            return None
        shown = true + day.replace(year=day.year + int(rng.choice([-3, -2, -1, 1, 2]))).timestamp() - day.timestamp()
    begun_noted, ended_noted = (t + rng.uniform(-600, 600) for t in (begun, ended))
    stay = Stay(
        now_s=ended + 5 * DAY_S, begun_s=begun_noted, ended_s=ended_noted,
        latitude_deg=None if "no place" in fault else cell.latitude_deg,
        longitude_deg=None if "no place" in fault else longitude,
        changes_s=changes, readings=readings,
    )  # fmt: skip
    return shown, grey, true, stay


def after_a_look(shown: np.ndarray, true: np.ndarray, found: tuple[faults.Fault, ...]) -> bool:
    """Whether one of the shifts that are offered to a person's eye, for each fault without one, puts all right."""
    after = faults.mended(shown, found, utc_offset_min=0)
    for fault in found:
        if fault.add_s is None:
            part = slice(fault.first, fault.last + 1)
            tried = [shown[part] + add for add in fault.others]
            if not tried:
                return False
            after[part] = min(tried, key=lambda t, part=part: float(np.nanmedian(np.abs(t - true[part]))))
    return float(np.mean(np.abs(after - true) <= WELL_S)) >= MOST


def row(fault: str, cards: int, fewest: int, rng: np.random.Generator) -> str:
    """One line of the table."""
    count: Counter[str] = Counter()
    kinds: Counter[str] = Counter()
    while sum(count.values()) < cards:
        made = card(fault, fewest, rng)
        if made is None:
            continue
        shown, grey, true, stay = made
        found = faults.faults(shown, stay, grey=grey.astype(float))
        kinds.update(f.kind if f.add_s is not None else f"{f.kind}, no shift" for f in found)
        after = faults.mended(shown, found, utc_offset_min=0)
        well = float(np.mean(np.abs(after - true) <= WELL_S))
        if fault.startswith("none"):
            count["right" if not found else "invented"] += 1
        elif well >= MOST:
            count["right"] += 1
        elif after_a_look(shown, true, found):
            count["right after a look"] += 1
        elif not found:
            count["not seen"] += 1
        elif any(f.add_s is not None for f in found) and float(np.mean(np.abs(after - true) > WELL_S)) > 1 - MOST:
            count["wrong"] += 1
        else:
            count["left to a person"] += 1
    columns = ("right", "right after a look", "left to a person", "not seen", "wrong", "invented")
    cells = " | ".join(f"{100 * count[k] / cards:.1f}" for k in columns)
    told = ", ".join(f"{k} {v}" for k, v in kinds.most_common(4))
    return f"| {fault} | {cells} | {told} |"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--cards", type=int, default=400, help="of each kind")
    parser.add_argument("--fewest", type=int, default=150, help="pictures of a card, up to ten times as many")
    parser.add_argument("--only", default="", help="one kind of fault")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    print("| injected | right % | after a look % | left to a person % | not seen % | wrong % | invented % | told as |")
    print("|" + "---|" * 8)
    for number, fault in enumerate(FAULTS):
        if asked.only and asked.only != fault:
            continue
        print(row(fault, asked.cards, asked.fewest, np.random.default_rng([asked.seed, number])), flush=True)


if __name__ == "__main__":
    main()
