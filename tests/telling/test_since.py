"""What is said of a record that changed since an answer was kept, and which facts make each sentence."""

from __future__ import annotations

from typing import Any

import pytest

from trod.findings.since import Since
from trod.telling.since import LAST, reasons, told

THEN = {
    "kind": "what-comes", "sentence": "Red fox came by 10 times.", "value": 12.5,
    "unit": "detections per 100 camera-days", "interval": {"low": 6.0, "high": 23.0},
    "rows": [{"species_key": "fox", "species": "Red fox", "detections": 10}],
    "effort": {"camera_days": 80.0}, "basis": {"reviewed": 40, "waiting": 3},
}  # fmt: skip


def now(**more: Any) -> dict[str, Any]:
    return {**THEN, "sentence": "Red fox came by 12 times.", **more}


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"cards": 2}, "2 sequences of cards or records imported since are in it now."),
        ({"reviewed": 1}, "1 sequence that was waiting for review is identified now."),
        ({"corrected": 3}, "3 sequences came into it or went out of it as identifications were corrected"),
        ({"removed": 1}, "1 sequence of it is no longer in the catalogue"),
        ({"unexplained": 2}, "without a word said of them: by a corrected time, a moved card"),
        ({"also_cards": 4}, "4 sequences imported since are not in it: they hold nothing of what is asked, or wait for"),
        ({"also_reviewed": 5}, "5 sequences reviewed since hold nothing of what is asked"),
        ({"also_corrected": 1}, "1 sequence identified otherwise since is in it, or out of it, as before."),
        ({"clocks": 1}, "1 clock correction was made or undone since."),
        ({"silences": 2}, "2 silences were decided since"),
        ({"settings": (("the reserve's time zone", "UTC", "Europe/Vienna"),)}, "was UTC, now it is Europe/Vienna."),
        ({"made": ("0.2.0", "0.3.0")}, "Trod 0.2.0 answered then, 0.3.0 now"),
    ],
)  # fmt: skip
def test_what_happened_is_told_one_sentence_each(facts: dict[str, Any], words: str) -> None:
    (line,) = reasons(Since(**facts))

    assert words in line


def test_another_answer_tells_the_numbers_that_differ_and_never_a_change_of_animals() -> None:
    later = now(value=14.0, basis={"reviewed": 43, "waiting": 0})
    said = told(THEN, later, Since(reviewed=2), on="1 May 2026", same=False)

    assert [name for name, _, _ in said.numbers] == ["Answer", "Sequences reviewed", "Sequences waiting for review"]
    assert said.numbers[0][1] == "12.5 detections per 100 camera-days (6.00 to 23.0)"
    assert said.head.endswith("Red fox came by 12 times.") and said.last == LAST
    assert all(
        word not in " ".join((said.head, *said.why)) for word in ("more often", "less often", "increase", "fewer")
    )


def test_without_a_known_reason_it_says_that_none_is_known() -> None:
    (line,) = told(THEN, now(), Since(), on="1 May 2026", same=False).why

    assert line.startswith("Neither new pictures nor a review")
    assert told(THEN, THEN, Since(), on="1 May 2026", same=True).why == ()


def test_an_older_answer_that_kept_less_says_so_and_a_refusal_has_no_number() -> None:
    older = {key: value for key, value in THEN.items() if key != "basis"}
    refused = {"kind": "what-comes", "sentence": "No answer yet: nothing.", "value": None, "interval": None}
    numbers = {name: (a, b) for name, a, b in told(older, now(), Since(clocks=1), on="x", same=False).numbers}
    back = {name: (a, b) for name, a, b in told(refused, now(), Since(cards=1), on="x", same=False).numbers}

    assert numbers["Sequences reviewed"] == ("not kept", "40")
    assert back["Answer"][0] == "no number" and back["Detections"] == ("–", "10")
