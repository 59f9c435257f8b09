"""Visits brought together: nothing doubles, nothing is lost, nothing is chosen silently."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trod.field.form.merging import CardPut, KnownVisit, Merge, merge
from trod.field.form.visit import VisitNote

Note = Callable[..., VisitNote]
OTHER = "5b1c9a7e-0d7f-4b53-8d0c-0a9be1a0c002"


def known(merged: Merge) -> list[KnownVisit]:
    """What would be at home after an import without conflicts."""
    return [KnownVisit(visit=v) for v in (*merged.new, *(new for _, new in merged.changed))]


def kinds(merged: Merge) -> list[str]:
    return [conflict.kind for conflict in merged.conflicts]


def test_what_is_imported_for_the_second_time_does_not_double(note: Note) -> None:
    first = merge([], [note(1), note(2, site="barn-track", deployment="barn-track-2026a", card_in="", card_out="")])
    again = merge(known(first), [*first.new])

    assert len(first.new) == 2 and first.conflicts == ()
    assert (again.new, again.changed, again.held) == ((), (), ()) and len(again.same) == 2


def test_the_same_file_given_twice_at_once_does_not_double(note: Note) -> None:
    merged = merge([], [note(), note()])

    assert len(merged.new) == 1 and len(merged.same) == 1 and merged.conflicts == ()


def test_a_visit_that_went_on_on_the_phone_is_changed(note: Note) -> None:
    later = note(revision=9, note="And a badger's sett above.")

    merged = merge([KnownVisit(visit=note())], [later])

    assert merged.changed == ((note(), later),) and merged.new == ()


def test_an_older_export_changes_nothing(note: Note) -> None:
    merged = merge([KnownVisit(visit=note(revision=9, note="More."))], [note(revision=7)])

    assert len(merged.same) == 1 and merged.changed == () and merged.conflicts == ()


def test_changed_on_both_sides_is_a_conflict_with_both_sides(note: Note) -> None:
    at_home = replace(note(), work="Trimmed two branches.")
    came = note(revision=8, note="More.")

    merged = merge([KnownVisit(visit=at_home, taken_digest=note().digest())], [came])

    assert kinds(merged) == ["both changed"] and merged.held == (came,) and merged.changed == ()
    assert (merged.conflicts[0].one, merged.conflicts[0].other) == (at_home, came)
    assert merged.conflicts[0].words == ("Changed at home and, since it came in, on the phone, too.")


def test_changed_at_home_alone_is_left_as_it_is(note: Note) -> None:
    at_home = replace(note(), work="Trimmed two branches.")

    merged = merge([KnownVisit(visit=at_home, taken_digest=note().digest())], [note()])

    assert merged.same == (note(),) and merged.conflicts == ()


def test_the_same_change_on_both_sides_is_no_conflict(note: Note) -> None:
    at_home = replace(note(), note="More.")

    merged = merge([KnownVisit(visit=at_home, taken_digest=note().digest())], [note(revision=8, note="More.")])

    assert len(merged.same) == 1 and merged.conflicts == ()


def test_one_number_for_two_states_is_a_conflict(note: Note) -> None:
    came = note(note="Other words.")

    assert kinds(merge([KnownVisit(visit=note())], [came])) == ["same number"]
    both = merge([], [note(), came])
    assert kinds(both) == ["same number"] and both.new == () and len(both.held) == 1


@pytest.mark.parametrize(("minutes", "told"), [(0, True), (119, True), (120, True), (121, False)])
def test_two_phones_at_one_camera_within_two_hours_are_asked_about(note: Note, minutes: int, told: bool) -> None:
    other = replace(
        note(2, phone=OTHER, card_in="", card_out=""),
        at=datetime(2026, 10, 17, 8, 30, tzinfo=UTC) + timedelta(minutes=minutes),
    )

    merged = merge([KnownVisit(visit=note())], [other])

    assert kinds(merged) == (["noted twice"] if told else [])
    assert merged.new == (() if told else (other,))
    if told:
        assert merged.conflicts[0].words.endswith(
            f"Two phones noted a visit here, {minutes} min apart: one visit written twice, or two?"
        )


def test_two_phones_that_come_together_hold_both_back(note: Note) -> None:
    merged = merge([], [note(), note(2, phone=OTHER, card_in="", card_out="")])

    assert kinds(merged) == ["noted twice"] and merged.new == () and len(merged.held) == 2


@pytest.mark.parametrize(
    "more",
    [
        {"withdrawn": True},
        {"outcome": "not visited"},
        {"site": "barn-track", "deployment": "barn-track-2026a"},
    ],
)
def test_struck_unvisited_and_other_places_are_no_double(note: Note, more: dict[str, Any]) -> None:
    merged = merge([KnownVisit(visit=note())], [note(2, phone=OTHER, card_in="", card_out="", **more)])

    assert merged.conflicts == () and len(merged.new) == 1


def test_one_phone_twice_at_a_camera_is_two_visits(note: Note) -> None:
    merged = merge([KnownVisit(visit=note())], [note(2, card_in="", card_out="")])

    assert merged.conflicts == () and len(merged.new) == 1


def elsewhere(note: Note, **more: Any) -> VisitNote:
    told = {"site": "barn-track", "deployment": "barn-track-2026a", "at": "2026-10-17T11:00:00Z"}
    return note(2, **{**told, "card_out": "", "card_in": " c12 ", **more})


def test_a_card_said_to_be_in_two_cameras_is_a_conflict(note: Note) -> None:
    """C12 went into Alder Ford at 8:30 and, written " c12 ", into Barn Track at 11:00."""
    merged = merge([KnownVisit(visit=note())], [elsewhere(note)])

    assert kinds(merged) == ["card in two places"] and merged.new == ()
    assert merged.conflicts[0].one == note()
    assert merged.conflicts[0].words == (
        "Card c12 is said to be in alder-ford-2026a and in barn-track-2026a, and nobody took it out."
    )


def test_an_earlier_visit_that_comes_later_is_told_too(note: Note) -> None:
    merged = merge([KnownVisit(visit=elsewhere(note))], [note()])

    assert kinds(merged) == ["card in two places"]
    assert merged.held == (note(),) and merged.conflicts[0].one == elsewhere(note)


def test_a_card_that_was_taken_out_may_go_into_another_camera(note: Note) -> None:
    between = note(3, at="2026-10-17T10:45:00Z", card_out="C12", card_in="C13")

    assert merge([KnownVisit(visit=note())], [between, elsewhere(note)]).conflicts == ()


def test_a_card_put_back_into_its_camera_is_no_conflict(note: Note) -> None:
    assert merge([], [note(card_out="C01", card_in="C01")]).conflicts == ()


def test_a_card_that_a_deployment_was_set_up_with_counts(note: Note) -> None:
    put = CardPut(card="C12", deployment="crag-saddle-2026a", at=datetime(2026, 9, 1, tzinfo=UTC))
    ended = replace(put, until=datetime(2026, 10, 1, tzinfo=UTC))

    merged = merge([], [note()], cards=[put])

    assert kinds(merged) == ["card in two places"] and merged.conflicts[0].one is None
    assert merge([], [note()], cards=[ended]).conflicts == ()


def test_an_old_story_between_known_visits_is_not_told_again(note: Note) -> None:
    at_home = [KnownVisit(visit=note()), KnownVisit(visit=elsewhere(note))]
    third = note(3, site="crag-saddle", deployment="crag-saddle-2026a", card_in="C44", card_out="")

    assert merge(at_home, [third]).conflicts == ()


@given(st.data())
def test_every_visit_that_comes_ends_in_exactly_one_heap(data: st.DataObject) -> None:
    """Random stories of three cameras, three cards and two phones."""

    def visit(number: int) -> VisitNote:
        when = datetime(2026, 10, 17, 8, tzinfo=UTC) + timedelta(minutes=data.draw(st.integers(0, 600)))
        site = data.draw(st.sampled_from(["a", "b", "c"]))
        return VisitNote(
            uuid=f"7c1d8f5e-6a2b-4c3d-9e4f-0000000{number:05d}",
            site=site,
            deployment=data.draw(st.sampled_from(["", f"{site}-1"])),
            phone=data.draw(st.sampled_from(["p", "q"])),
            made_at=when,
            changed_at=when,
            revision=data.draw(st.integers(1, 3)),
            outcome="visited",
            at=when,
            withdrawn=data.draw(st.booleans()),
            card_in=data.draw(st.sampled_from(["", "C1", "C2"])),
            card_out=data.draw(st.sampled_from(["", "C1", "C2"])),
            note=data.draw(st.sampled_from(["", "x"])),
        )

    home = [KnownVisit(visit=visit(n)) for n in range(data.draw(st.integers(0, 4)))]
    came = [visit(data.draw(st.integers(0, 6))) for _ in range(data.draw(st.integers(0, 6)))]

    merged = merge(home, came)

    going_in = [*merged.new, *(new for _, new in merged.changed)]
    heaps = [v.uuid for v in going_in] + [v.uuid for v in merged.held]
    assert len(heaps) == len(set(heaps))
    assert {v.uuid for v in came} == set(heaps) | {v.uuid for v in merged.same}
    assert {c.other.uuid for c in merged.conflicts} <= {v.uuid for v in merged.held}
    # Imported and imported once more, nothing is new and nothing changes.
    after = {k.visit.uuid: k for k in home} | {v.uuid: KnownVisit(visit=v) for v in going_in}
    again = merge(after.values(), going_in)
    assert (again.new, again.changed, again.conflicts) == ((), (), ())
