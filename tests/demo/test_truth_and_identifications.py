from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from trod.errors import WrongInput
from trod_demo.cards import CardMade
from trod_demo.identifications import identifications_from_truth
from trod_demo.truth import TrueAnimal, Truth, read_truth, write_truth

SAID = datetime(2026, 6, 30, 18, tzinfo=UTC)


def animal(sex: str = "female", age: str = "adult", *, visible: float = 1.0, left: float = 0.2) -> TrueAnimal:
    return TrueAnimal("animal", "red_deer", sex, age, (left, 0.3, left + 0.2, 0.7), visible, 6.0, "walk")


def row(sha: str, *animals: TrueAnimal, kind: str = "animal") -> Truth:
    return Truth(
        f"DCIM/100TARNB/{sha}.JPG",
        sha,
        1,
        "ESK-01-A",
        "TB3-40117",
        "d",
        "alder-track",
        "2026-05-01T10:00:00.000Z",
        "2026-05-01T11:00:00",
        False,
        kind if animals else "blank",
        "red_deer" if animals else "",
        len(animals),
        animals,
        "" if animals else "waving branches",
        1,
    )


def say(*rows: Truth) -> dict[str, object]:
    at = datetime(2026, 5, 1, tzinfo=UTC)
    (identification,) = identifications_from_truth(rows, [[(r.sha256, at) for r in rows]], said_from=SAID, seed=5)
    return identification


def test_truth_reads_back_as_it_was_written(tmp_path: Path) -> None:
    rows = [row("a", animal(), animal("male", left=0.5)), row("b")]
    write_truth(tmp_path / "t.jsonl", rows)

    assert read_truth(tmp_path / "t.jsonl") == rows


def test_a_strange_truth_file_is_named_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "t.jsonl"
    write_truth(path, [row("a")])
    path.write_text(path.read_text() + '{"path": 3}\n')

    with pytest.raises(WrongInput, match="line 2"):
        read_truth(path)


def test_animals_are_counted_in_the_picture_that_shows_most_of_them() -> None:
    identification = say(row("a", animal()), row("b", animal(), animal("male", left=0.5), animal(left=0.7)), row("c"))

    lines = identification["observations"]
    assert isinstance(lines, list)
    assert {(w["sex"], w["count"]) for w in lines} == {("female", 2), ("male", 1)}
    assert all(w["species"] == "red_deer" and w["what"] == "animal" for w in lines)
    marks = identification["marks"]
    assert isinstance(marks, list)
    assert [m["sha256"] for m in marks] == ["b", "b", "b"]
    assert marks[0] == {"sha256": "b", "x": 0.3, "y": 0.5}


def test_an_sequence_without_animals_is_blank() -> None:
    identification = say(row("a"), row("b"))

    assert identification["observations"] == [
        {"what": "blank", "species": None, "count": 1, "sex": "unknown", "life_stage": "unknown"}
    ]
    assert identification["marks"] == []


def test_what_is_mostly_hidden_is_unknown_and_what_half_shows_has_no_sex() -> None:
    hidden = say(row("a", animal(visible=0.1)))
    half = say(row("a", animal(visible=0.4)))

    assert [w["what"] for w in hidden["observations"]] == ["unknown"]  # type: ignore[attr-defined]
    assert [(w["sex"], w["life_stage"]) for w in half["observations"]] == [("unknown", "adult")]  # type: ignore[attr-defined]


def test_pictures_the_truth_does_not_know_get_no_word() -> None:
    assert identifications_from_truth([row("a")], [[("z", SAID)]], said_from=SAID) == []


def test_words_of_a_whole_card_are_in_time_order_with_some_unknown(two_cards: dict[str, CardMade]) -> None:
    rows = [r for c in two_cards.values() for r in read_truth(c.truth)]
    sequences = [[(r.sha256, SAID)] for r in rows]

    words = identifications_from_truth(rows, sequences, said_from=SAID)

    assert words == identifications_from_truth(rows, sequences, said_from=SAID)
    assert len(words) == len(rows) - 1  # all but the file of no bytes
    kinds = {w["what"] for identification in words for w in identification["observations"]}
    assert kinds >= {"animal", "blank", "unknown"}


def test_a_share_of_sequences_can_be_left_unseen() -> None:
    rows = [replace(row(str(k)), detection=k) for k in range(400)]

    words = identifications_from_truth(rows, [[(r.sha256, SAID)] for r in rows], said_from=SAID, skip=0.25)

    assert 0.6 < len(words) / 400 < 0.9
