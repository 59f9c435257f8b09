"""Work beside the pages: once for the same, in turn, never more than a few, and never silent."""

from __future__ import annotations

import threading

import pytest

from trod.errors import NotEnoughEvidence
from trod.web.beside import BUSY, Works


@pytest.fixture
def works():
    return Works(most_kept=3, most_waiting=2)


def test_the_same_is_worked_out_once(works):
    did = []

    for _ in range(3):
        work = works.begin("a", lambda progress: did.append(1) or "done")
        assert work.ended.wait(5)

    assert (work.result, did) == ("done", [1])


def test_what_failed_is_told_in_words_and_tried_again_when_asked_for(works):
    def refused(progress):
        raise NotEnoughEvidence("two pictures", need="five are needed")

    work = works.begin("a", refused)
    assert work.ended.wait(5)
    assert "five are needed" in work.trouble
    assert works.begin("a", lambda progress: 7).ended.wait(5)
    assert works.get("a").result == 7


def test_an_unforeseen_fault_ends_the_work_too(works):
    work = works.begin("a", lambda progress: 1 / 0)

    assert work.ended.wait(5)
    assert work.failed
    assert "ZeroDivisionError" in work.trouble


def test_works_go_one_after_another_and_too_many_are_put_off(works):
    gate, at_once, most = threading.Event(), [], []

    def slow(progress):
        at_once.append(1)
        most.append(len(at_once))
        gate.wait(5)
        at_once.pop()
        return True

    first, second, third = (works.begin(key, slow) for key in "abc")
    assert third.trouble == BUSY
    assert works.get("c") is None
    gate.set()
    assert first.ended.wait(5)
    assert second.ended.wait(5)
    assert max(most) == 1


def test_progress_is_seen_while_it_works(works):
    told, gate = threading.Event(), threading.Event()

    def do(progress):
        progress(3, 8)
        told.set()
        gate.wait(5)

    work = works.begin("a", do, total=8)
    assert told.wait(5)
    assert (work.done, work.total) == (3, 8)
    gate.set()


def test_only_the_last_works_are_held(works):
    for key in "abcde":
        assert works.begin(key, lambda progress: 1).ended.wait(5)

    assert [key for key in "abcde" if works.get(key)] == ["c", "d", "e"]
