"""What changed since an answer was kept, told: the numbers then and now, and why they may differ."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from trod import wording
from trod.findings.since import Since

LAST = (
    "What differs is what is known, not what lived there. Whether animals come more or less often is asked with “Is it "
    "changing?”."
)


@dataclass(frozen=True, kw_only=True)
class Told:
    """head : in one sentence. numbers : (name, then, now), those that differ. why : what may have made them differ."""

    head: str
    numbers: tuple[tuple[str, str, str], ...] = ()
    why: tuple[str, ...] = ()
    last: str = ""


def told(then: Mapping[str, Any], now: Mapping[str, Any], happened: Since, *, on: str, same: bool) -> Told:
    """What changed between two kept answers. on : the day of the first, in words. same : they say the same."""
    why = reasons(happened)
    if same:
        head = f"Asked again now, the answer is that of {on}."
        if why:
            return Told(head=head, why=why)
        return Told(head=head)
    numbers = tuple(line for line in _numbers(then, now) if line[1] != line[2])
    if not why:
        why = (
            "Neither new pictures nor a review, a corrected identification or a clock tells why: a site, a deployment "
            "or a visit may have been changed.",
        )
    return Told(
        head=f"Asked again now, the answer is not that of {on}: {now['sentence']}",
        numbers=numbers,
        why=why,
        last=LAST,
    )


def reasons(happened: Since) -> tuple[str, ...]:
    """What happened since, each in a sentence."""
    out = []
    if n := happened.cards:
        out.append(f"{_sequences(n)} of cards or records imported since {_is(n)} in it now.")
    if n := happened.reviewed:
        out.append(f"{_sequences(n)} that {'was' if n == 1 else 'were'} waiting for review {_is(n)} identified now.")
    if n := happened.corrected:
        out.append(f"{_sequences(n)} came into it or went out of it as identifications were corrected or taken back.")
    if n := happened.removed:
        out.append(f"{_sequences(n)} of it {_is(n)} no longer in the catalogue: removed, or grouped otherwise.")
    if n := happened.unexplained:
        out.append(
            f"{_sequences(n)} came into it or went out of it without a word said of {'it' if n == 1 else 'them'}: by a "
            "corrected time, a moved card, or the question's own days."
        )
    if n := happened.also_cards:
        out.append(
            f"{_sequences(n)} imported since {_is(n)} not in it: {'it holds' if n == 1 else 'they hold'} nothing of "
            f"what is asked, or {'waits' if n == 1 else 'wait'} for review."
        )
    if n := happened.also_reviewed:
        out.append(
            f"{_sequences(n)} reviewed since {'holds' if n == 1 else 'hold'} nothing of what is asked; so those found "
            "stand for less of what waits."
        )
    if n := happened.also_corrected:
        out.append(f"{_sequences(n)} identified otherwise since {_is(n)} in it, or out of it, as before.")
    if n := happened.clocks:
        out.append(f"{wording.plural(n, 'clock correction was', 'clock corrections were')} made or undone since.")
    if n := happened.silences:
        out.append(f"{wording.plural(n, 'silence was', 'silences were')} decided since, so the effort is another.")
    for name, then, now in happened.settings:
        out.append(f"A setting is another: {name} was {then}, now it is {now}.")
    if happened.made:
        out.append(f"Trod {happened.made[0]} answered then, {happened.made[1]} now; how it is worked out may differ.")
    return tuple(out)


def _sequences(n: int) -> str:
    return wording.plural(n, "sequence")


def _is(n: int) -> str:
    return "is" if n == 1 else "are"


def _numbers(then: Mapping[str, Any], now: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    lines = [("Answer", _value(then), _value(now)), ("Detections", _detections(then), _detections(now))]
    for name, part, key, say in (
        ("Camera-days", "effort", "camera_days", wording.days_number),
        ("Sequences reviewed", "basis", "reviewed", wording.count),
        ("Sequences waiting for review", "basis", "waiting", wording.count),
    ):
        before, after = ((of.get(part) or {}).get(key) for of in (then, now))
        lines.append((name, _said(before, say), _said(after, say)))
    lines += _species(then, now)
    return lines


def _said(number: Any, say: Callable[[Any], str]) -> str:
    """A number that may not have been kept with an older answer."""
    return "not kept" if number is None else say(number)


def _value(result: Mapping[str, Any]) -> str:
    """The headline number with its interval; a dash without one."""
    value, interval = result.get("value"), result.get("interval")
    if value is None or not interval:
        return "no number" if value is None else f"{wording.trimmed(value)} {result.get('unit', '')}".strip()
    low, high = interval.get("low"), interval.get("high")
    if result.get("kind") == "when":
        return f"{wording.clock(value)} ({wording.clock(low)} to {wording.clock(high)})"
    ends = f"{wording.number(low)} or more" if high is None else wording.between(low, high)
    return f"{wording.trimmed(value)} {result['unit']} ({ends})"


def _detections(result: Mapping[str, Any]) -> str:
    rows = result.get("rows")
    return "–" if rows is None else wording.count(sum(int(row.get("detections") or 0) for row in rows))


def _species(then: Mapping[str, Any], now: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    """Detections by species, where the answer is a table of them and was not refused."""
    if then.get("kind") != "what-comes" or "rows" not in then or "rows" not in now:
        return []
    counts: dict[str, list[int]] = {}
    names: dict[str, str] = {}
    for n, result in enumerate((then, now)):
        for row in result["rows"]:
            counts.setdefault(row["species_key"], [0, 0])[n] = int(row["detections"])
            names[row["species_key"]] = str(row["species"])
    if len(counts) < 2:
        return []
    return [
        (f"{names[key]}, detections", wording.count(a), wording.count(b))
        for key, (a, b) in sorted(counts.items(), key=lambda one: names[one[0]])
    ]
