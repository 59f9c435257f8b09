"""The page and the reader at home have their limits and choices from one place."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser
from typing import Any, get_args

import pytest

from trod.errors import WrongInput
from trod.field.form import bounds, field_form_html, read_field_form, visit
from trod.field.form.data import FieldFormData


class Form(HTMLParser):
    """The fields of a page: by what they write, how long their text may be and what they offer."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.longest: dict[str, int] = {}
        self.offered: dict[str, list[str]] = {}
        self.within = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        marks = {name: value or "" for name, value in attrs}
        name = next(
            (marks[f"data-{kind}"] for kind in ("text", "radio", "select", "pass") if f"data-{kind}" in marks), ""
        )
        if "data-text" in marks:
            self.longest[name] = int(marks["maxlength"])
        if marks.get("type") == "radio":
            self.offered.setdefault(name, []).append(marks["value"])
        if tag == "select":
            self.within = name
        if tag == "option" and "value" in marks:
            self.offered.setdefault(self.within, []).append(marks["value"])

    def handle_data(self, data: str) -> None:
        if self.lasttag == "option" and self.within == "way" and data.strip():  # its words are its values
            self.offered.setdefault("way", []).append(data)


def page_data(field_form: FieldFormData) -> dict[str, Any]:
    found = re.search(r'id="field-form-data">(.*?)</script>', field_form_html(field_form), re.S)
    assert found
    told: dict[str, Any] = json.loads(found[1])
    return told


def taken(made: Any, told: dict[str, Any]) -> tuple[visit.VisitNote, ...]:
    return read_field_form(json.dumps(made.file(told))).visits


def set_in(told: dict[str, Any], path: str, value: object) -> None:
    *way, last = path.split(".")
    for key in way:
        told = told[key]
    told[last] = value


def with_number(noted: dict[str, Any], key: str, value: float) -> dict[str, Any]:
    set_in(noted["walk_passes"][0] if key == "distance_m" else noted, key, value)
    return noted


@pytest.mark.parametrize("key", bounds.NUMBERS)
def test_a_number_that_the_page_takes_is_taken_at_home_and_one_beyond_is_not(key: str, made: Any) -> None:
    low, high, kind = page_data(made.field_form())["limits"]["numbers"][key]

    for value in (low, high):
        assert len(taken(made, with_number(made.visit(), key, value))) == 1
    for value in (low - 1, high + 1, *([low + 0.5] if kind == "whole" else [])):
        with pytest.raises(WrongInput, match=key.rpartition(".")[2]):
            taken(made, with_number(made.visit(), key, value))


def test_a_limit_that_is_changed_changes_the_page_and_the_reader(made: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(bounds.NUMBERS, "distance_m", bounds.Bound(0, 7, "length"))

    assert page_data(made.field_form())["limits"]["numbers"]["distance_m"] == [0, 7, "length"]
    with pytest.raises(WrongInput, match="from 0 to 7"):
        taken(made, with_number(made.visit(), "distance_m", 8))


def test_a_text_that_fits_its_field_is_taken_at_home_and_a_longer_one_is_not(made: Any) -> None:
    longest = Form(field_form_html(made.field_form())).longest
    assert {"by", "card_out", "card_in", "batteries", "note", "work", "why_not", "harm_note"} <= set(longest)

    for name, length in longest.items():
        assert len(taken(made, {**made.visit(), name: "x" * length})) == 1
        with pytest.raises(WrongInput, match=name):
            taken(made, {**made.visit(), name: "x" * (length + 1)})


def test_a_person_s_name_longer_than_the_field_is_offered_as_far_as_it_fits(made: Any) -> None:
    assert page_data(made.field_form(people=("N" * 100,)))["people"] == ["N" * bounds.LONGEST_NAME]


def test_the_page_offers_what_the_reader_takes(made: Any) -> None:
    offered = Form(field_form_html(made.field_form())).offered

    assert sorted(offered["arrival"]) == sorted(get_args(visit.Arrival))
    assert sorted(offered["picture"]) == sorted(get_args(visit.PictureCame))
    assert sorted(offered["way"]) == sorted(get_args(visit.Way))
    assert sorted(filter(None, offered["changes.sensitivity"])) == sorted(get_args(visit.Sensitivity))


def test_the_page_asks_for_every_number_of_the_table_and_for_no_other(made: Any) -> None:
    page = field_form_html(made.field_form())
    asked = set(re.findall(r'<input[^>]* data-number="([^"]+)"', page)) | set(
        re.findall(r'data-pass="(distance_m)"', page)
    )

    assert asked == set(bounds.NUMBERS)


def test_a_year_that_the_page_takes_is_taken_at_home_wherever_the_phone_is(made: Any) -> None:
    first, last = page_data(made.field_form())["limits"]["years"]
    for when in (f"{first - 1}-12-31T10:00:00Z", f"{last + 1}-01-01T13:59:59Z"):  # New Year in UTC+14 and UTC-14
        told = {**made.visit(), "made_at": when, "changed_at": when, "at": when}
        assert len(taken(made, told)) == 1


def test_the_photos_of_a_phone_fit_into_one_file_and_one_request() -> None:
    from trod import limits

    as_text = bounds.PHOTOS_BYTES * 4 / 3

    assert as_text < limits.FIELD_FORM_BYTES
    assert as_text + bounds.MOST_PHOTOS * 1000 + 8 * bounds.LONGEST_TEXT < limits.HAND_IN_BYTES


def test_lengths_are_typed_in_the_person_s_unit(made: Any) -> None:
    assert [page_data(made.field_form(system=s))["length_unit"] for s in ("metric", "us")] == ["m", "ft"]
    assert page_data(made.field_form(system="us"))["length_unit_m"] == 0.3048  # exact: NIST SP 811, appendix B
