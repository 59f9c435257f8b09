"""Ten questions of the demo whose answers are known, asked as a person asks them: docs/models/ten-questions.md.

Run:  PYTHONPATH=src python benchmarks/demo_questions.py [--seeds 12] [--first 1] [--pictures 2400] [--keep DIR]

For each seed a demo is built in a folder of its own (drawn at half size, which changes no question), its cards are
imported and its sequences identified as in `trod demo`, and ten times `trod ask … --json` is called. What is true comes
from the simulator alone: `Storyteller` is told the same story again, and many other stories of the same year give what
was to be expected. Nothing of what went through the archive takes part in the truth.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from trod_demo.reserve import RESERVE, SITES_BY_SLUG, sun_over, year
from trod_demo.story import Storyteller, budgets

UNTIL = date(2026, 6, 30)
# Within this all cards that came home were looked through; the two of the last weeks were not.
FROM, TO = UNTIL - timedelta(days=355), UNTIL - timedelta(days=55)
EXPECTED_FROM = 60  # other stories that say what was to be expected
APART_S = 30 * 60.0
NEVER = ("pine-marten", "larkfield-edge")  # a kind, and a site to which it never comes
RARE, COMMON, BUSY = "lynx", "red-fox", ("closed-lane", "orchard-wall")
NIGHT_DEG = -12.0
PERIOD = ("--from", FROM.isoformat(), "--to", TO.isoformat())

ASKED: dict[str, tuple[str, ...]] = {
    "kinds": ("what-comes", *PERIOD),
    "common": ("what-comes", "--species", COMMON, *PERIOD),
    "rare": ("what-comes", "--species", RARE, *PERIOD),
    "never": ("what-comes", "--species", NEVER[0], "--site", NEVER[1], *PERIOD),
    "effort": ("what-comes", *PERIOD),
    "first and last": ("what-comes", "--species", "badger", *PERIOD),
    "night": ("when", "--species", "wild-boar", *PERIOD),
    "change": ("change", "--species", COMMON),
    "two sites": (
        "compare", "--species", COMMON, "--site", BUSY[0], "--against-site", BUSY[1], *PERIOD,
    ),
    "shared hours": ("overlap", "--species", "red-deer", "--against-species", "roe-deer", *PERIOD),
}  # fmt: skip
WORDED = {
    "kinds": "Which kinds came, and how many of each at most at once?",
    "common": "How often did red foxes come, per 100 camera-days?",
    "rare": "How often did lynxes come?",
    "never": "How often did pine martens come to Larkfield Edge, where none ever comes?",
    "effort": "How many camera-days were watched?",
    "first and last": "When was the first badger seen, and the last?",
    "night": "What part of the wild boars' activity is by night?",
    "change": "Do red foxes come more or less often than before? (One year is on record; nothing changes.)",
    "two sites": "How many times as often do red foxes come to Closed Lane as to Orchard Wall?",
    "shared hours": "Do red deer and roe deer share their hours? (Both follow one law.)",
}


# --- what is true ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class Came:
    """Animals of one kind before one camera site, as the simulator has it: pictures under half an hour apart."""

    site: str
    species: str
    at: datetime
    most: int


def story(seed: int, pictures: int) -> list[Came]:
    """All comings of the cards that came home and were looked through, in the time asked for."""
    y = year(UNTIL)
    pulled = max(60, round(pictures * 0.14))
    shares = budgets(
        y, max(1, pictures - 2 * pulled), take=lambda name: not next(c for c in y.cards if c.name == name).just_pulled
    )
    own: dict[tuple[str, str], list[tuple[datetime, int]]] = {}
    for card in y.cards:
        if card.name not in shares:
            continue
        assert card.taken_out is not None
        deployment = y.deployment(card.deployment)
        teller = Storyteller(y, deployment, seed=seed)
        for moment in teller.tell(card.put_in - timedelta(minutes=1), card.taken_out, shares[card.name]):
            if moment.kind == "animal" and _asked(moment.at):
                own.setdefault((deployment.site, moment.species), []).append((moment.at, len(moment.actors)))
    out = []
    for (site, species), moments in own.items():
        moments.sort()
        since: datetime | None = None
        last: datetime | None = None
        most = 0
        for at, many in moments:
            if since is None or last is None or (at - last).total_seconds() > APART_S:
                if since is not None:
                    out.append(Came(site, species.replace("_", "-"), since, most))
                since, most = at, 0
            last, most = at, max(most, many)
        if since is not None:
            out.append(Came(site, species.replace("_", "-"), since, most))
    return out


def _local(at: datetime) -> date:
    return at.astimezone(ZoneInfo(RESERVE.time_zone)).date()


def _asked(at: datetime) -> bool:
    return FROM <= _local(at) <= TO


@cache
def watched_days() -> dict[str, float]:
    """Days of each site in which a camera truly watched: standing, switched on, with room on its card."""
    zone = ZoneInfo(RESERVE.time_zone)
    first = datetime(FROM.year, FROM.month, FROM.day, tzinfo=zone).astimezone(UTC)
    beyond = TO + timedelta(days=1)
    end = datetime(beyond.year, beyond.month, beyond.day, tzinfo=zone).astimezone(UTC)
    out = {}
    for site in SITES_BY_SLUG:
        spans: list[tuple[datetime, datetime]] = []
        for d in year(UNTIL).deployments:
            if d.site != site:
                continue
            at = max(d.start, first)
            for spell in sorted((s for s in d.spells if s.what in ("off", "full card")), key=lambda s: s.start):
                spans.append((at, min(spell.start, end)))
                at = max(at, spell.end)
            spans.append((at, min(d.end or end, end)))
        days, until = 0.0, first
        for a, b in sorted(spans):
            days += max(0.0, (b - max(a, until)).total_seconds()) / 86_400
            until = max(until, b)
        out[site] = days
    return out


@dataclass(frozen=True)
class Expected:
    """What other stories of the same year come to, on average: comings by site and kind; by night, of a kind."""

    by_site: dict[tuple[str, str], float]
    night: dict[str, float]

    def of(self, species: str, site: str | None = None) -> float:
        return sum(n for (where, kind), n in self.by_site.items() if kind == species and site in (None, where))


@cache
def expected(pictures: int) -> Expected:
    by_site: Counter[tuple[str, str]] = Counter()
    night: Counter[str] = Counter()
    for seed in range(10_001, 10_001 + EXPECTED_FROM):
        for one in story(seed, pictures):
            by_site[one.site, one.species] += 1
            night[one.species] += sun_over(SITES_BY_SLUG[one.site], one.at)[0] < NIGHT_DEG
    total: Counter[str] = Counter()
    for (_, species), many in by_site.items():
        total[species] += many
    return Expected(
        by_site={key: many / EXPECTED_FROM for key, many in by_site.items()},
        night={species: night[species] / total[species] for species in total},
    )


# --- asking ---------------------------------------------------------------------------------------


def answers_of(home: Path, seed: int, pictures: int) -> dict[str, Any]:
    """Build the demo there and ask. In a process of its own, because a catalogue is opened once in each."""
    found = {"TROD_HOME": str(home), "PYTHONPATH": os.pathsep.join(path for path in sys.path if path)}
    done = subprocess.run(
        [sys.executable, __file__, "--one", str(home), "--first", str(seed), "--pictures", str(pictures)],
        check=True, capture_output=True, text=True, env=os.environ | found,
    )  # fmt: skip
    answers: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return answers


def build_and_ask(home: Path, seed: int, pictures: int) -> dict[str, Any]:
    home.mkdir(parents=True, exist_ok=True)
    from trod.catalogue.start import ready

    ready("trod demo", settle=False)
    from trod.catalogue.line import Silent
    from trod.commands.ask import ask
    from trod_demo import rows

    rows.SIZE_PX = (320, 240)
    if not (rows.read_marker() or {}).get("built"):
        rows.build(
            Silent(), pictures=pictures, seed=seed, workers=1, now=datetime(*UNTIL.timetuple()[:3], 12, tzinfo=UTC)
        )
    out = {}
    for name, asked in ASKED.items():
        said = io.StringIO()
        with contextlib.redirect_stdout(said), contextlib.suppress(SystemExit):
            ask.main([*asked, "--json"], prog_name="trod ask", standalone_mode=True)
        out[name] = json.loads(said.getvalue())
        for heavy in ("series", "pictures", "sequences", "assumptions", "method"):
            out[name].pop(heavy, None)
        for row in out[name].get("rows", ()):
            for heavy in ("pictures", "sequence_keys"):
                row.pop(heavy, None)
    return out


# --- judging --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Judged:
    """verdict : right (the interval holds the truth), refused (no number was told, and rightly), or wrong."""

    verdict: str
    told: str
    true: str


def _within(found: dict[str, Any], truth: float, what: str = "{:.2f}") -> Judged:
    told = found.get("interval")
    true = what.format(truth)
    if found.get("value") is None or not told:
        return Judged("refused", "no number", true)
    low, high = told["low"], told["high"]
    high = float("inf") if high is None else high
    shown = f"{what.format(found['value'])} ({what.format(low)} to {what.format(high)})"
    return Judged("right" if low <= truth <= high else "wrong", shown, true)


def _kinds(found: dict[str, Any], seed: int, pictures: int) -> Judged:
    comings = story(seed, pictures)
    came = Counter(p.species for p in comings)
    most = {s: max(p.most for p in comings if p.species == s) for s in came}
    told = {r["species_key"]: r for r in found["rows"] if r["detections"]}
    invented = sorted(told.keys() - came.keys())
    missed = sorted(s for s, n in came.items() if n >= 3 and s not in told)
    too_many = sorted(s for s, r in told.items() if r["individuals_max"] > most.get(s, 0))
    trouble = [*invented, *missed, *too_many]
    return Judged(
        "wrong" if trouble else "right", f"{len(told)} kinds" + (f"; {trouble}" if trouble else ""), f"{len(came)}"
    )


def _never(found: dict[str, Any], seed: int, pictures: int) -> Judged:
    told = found["interval"] or {"low": 0.0, "high": float("nan")}
    empty = found["value"] == 0 and told["low"] == 0 and told["high"] > 0 and "absent" not in found["sentence"]
    return Judged("right" if empty else "wrong", f"{found['value']:g} ({told['low']:g} to {told['high']:.2f})", "0")


def _effort(found: dict[str, Any], seed: int, pictures: int) -> Judged:
    truth = sum(watched_days().values())
    low, high = found["effort"]["proven_days"], found["effort"]["possible_days"]
    shown = f"{found['effort']['site_days']:.1f} ({low:.1f} to {high:.1f})"
    return Judged("right" if low <= truth <= high else "wrong", shown, f"{truth:.1f}")


def _first_and_last(found: dict[str, Any], seed: int, pictures: int) -> Judged:
    days = sorted(_local(p.at) for p in story(seed, pictures) if p.species == "badger")
    row = next(iter(found["rows"]), None)
    if row is None or not row["detections"]:
        return Judged("refused" if len(days) < 3 else "wrong", "none", f"{len(days)} comings")
    first, last = date.fromisoformat(row["first"]), date.fromisoformat(row["last"])
    # A coming that shows too little, or waits for review, may be missed; none may be told outside the true days.
    inside = days[0] <= first <= last <= days[-1]
    near = first <= days[min(2, len(days) - 1)] and last >= days[max(-3, -len(days))]
    return Judged("right" if inside and near else "wrong", f"{first} to {last}", f"{days[0]} to {days[-1]}")


def _night(found: dict[str, Any], seed: int, pictures: int) -> Judged:
    truth = expected(pictures).night["wild-boar"]
    row = next((r for r in found.get("rows", ()) if r["light"] == "night"), None)
    if row is None or row["share"] is None or row["low"] is None:
        return Judged("refused", "no share", f"{truth:.0%}")
    right = row["low"] <= truth <= row["high"]
    return Judged(
        "right" if right else "wrong", f"{row['share']:.0%} ({row['low']:.0%} to {row['high']:.0%})", f"{truth:.0%}"
    )


def _change(found: dict[str, Any], seed: int, pictures: int) -> Judged:
    if found["value"] is None and "cannot be told apart" in found["sentence"]:
        return Judged("refused", "season and change cannot be told apart", "nothing changes")
    return Judged("wrong", found["sentence"], "nothing changes")


def _rate_of(species: str) -> Callable[[dict[str, Any], int, int], Judged]:
    def judge(found: dict[str, Any], seed: int, pictures: int) -> Judged:
        return _within(found, 100 * expected(pictures).of(species) / sum(watched_days().values()))

    return judge


def _two_sites(found: dict[str, Any], seed: int, pictures: int) -> Judged:
    days = watched_days()
    a, b = (expected(pictures).of(COMMON, site) / days[site] for site in BUSY)
    return _within(found, a / b)


def _shared(found: dict[str, Any], seed: int, pictures: int) -> Judged:
    return _within(found, 1.0)


JUDGES: dict[str, Callable[[dict[str, Any], int, int], Judged]] = {
    "kinds": _kinds, "common": _rate_of(COMMON), "rare": _rate_of(RARE), "never": _never, "effort": _effort,
    "first and last": _first_and_last, "night": _night, "change": _change, "two sites": _two_sites,
    "shared hours": _shared,
}  # fmt: skip


def judged(answers: dict[str, Any], seed: int, pictures: int) -> dict[str, Judged]:
    return {name: judge(answers[name], seed, pictures) for name, judge in JUDGES.items()}


def each(seeds: range, pictures: int, keep: Path | None) -> Iterator[tuple[int, dict[str, Judged]]]:
    for seed in seeds:
        home = (keep or Path(tempfile.mkdtemp(prefix="trod-ten-"))) / f"seed-{seed}"
        try:
            yield seed, judged(answers_of(home, seed, pictures), seed, pictures)
        finally:
            if keep is None:
                shutil.rmtree(home.parent, ignore_errors=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0] if __doc__ else "")
    parser.add_argument("--seeds", type=int, default=12)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--pictures", type=int, default=2400)
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--one", type=Path, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.one:
        print(json.dumps(build_and_ask(given.one, given.first, given.pictures)))
        return
    tally: dict[str, Counter[str]] = {name: Counter() for name in ASKED}
    shown: dict[str, Judged] = {}
    for seed, verdicts in each(range(given.first, given.first + given.seeds), given.pictures, given.keep):
        for name, one in verdicts.items():
            tally[name][one.verdict] += 1
            shown.setdefault(name, one)
            print(f"seed {seed}, {name}: {one.verdict}; told {one.told}; true {one.true}", flush=True)
    print(f"\n| question | told, seed {given.first} | true | right | refused | wrong |\n|---|---|---|---|---|---|")
    for name in ASKED:
        counts = " | ".join(str(tally[name][verdict]) for verdict in ("right", "refused", "wrong"))
        print(f"| {WORDED[name]} | {shown[name].told} | {shown[name].true} | {counts} |")


if __name__ == "__main__":
    main()
