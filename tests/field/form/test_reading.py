"""What a phone brings back: read whole, or refused with the place and the remedy."""

from __future__ import annotations

import base64
import io
import json
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from trod.errors import WrongInput
from trod.field.form import reading
from trod.field.form.reading import read_field_form
from trod.field.form.visit import Changes, WalkPass


def read(file: dict[str, Any]) -> reading.FieldFormReturn:
    return read_field_form(json.dumps(file))


def refused(file: Any) -> str:
    with pytest.raises(WrongInput) as told:
        read_field_form(json.dumps(file) if isinstance(file, dict | list) else file)
    return str(told.value)


def test_all_that_was_noted_comes_back(made: Any) -> None:
    came = read(made.file(made.visit(photos=[made.photo()])))

    (visit,) = came.visits
    assert (came.field_form_id, came.reserve, came.round_name, came.phone) == (
        made.field_form_id, "Eskerwold", "West side", made.phone,
    )  # fmt: skip
    assert visit.arrival == "knocked" and visit.battery_percent == 40 and visit.batteries_changed
    assert (visit.card_out, visit.card_in) == ("C01", "C12")
    assert visit.walk_passes == (WalkPass(distance_m=5, way="left to right", picture="yes"),)
    assert visit.changes == Changes(tilt_deg=6.5, burst=3, sensitivity="high")
    assert visit.at == datetime(2026, 10, 17, 8, 30, tzinfo=UTC)
    assert visit.place is not None and visit.place.accuracy_m == 6
    assert visit.photos[0].jpeg == made.jpeg() and visit.photos[0].width == 8
    assert came.doubts == ()


def test_a_file_with_a_byte_order_mark_or_as_bytes_reads_the_same(made: Any) -> None:
    text = json.dumps(made.file(made.visit()), ensure_ascii=False)

    assert read_field_form(text.encode("utf-8-sig")) == read_field_form(text) == read_field_form("\ufeff" + text)


def test_a_file_without_visits_is_a_file(made: Any) -> None:
    assert read(made.file()).visits == ()


@pytest.mark.parametrize(
    ("source", "words"),
    [
        ("", "no whole JSON"),
        (b"\xff\xfe\x00", "bytes that are no UTF-8 text"),
        ('{"trod": 1, "kind": "visits", "visits": [{"uuid": "7c1', "export it once more, it is still on the phone"),
        ('{"trod": 1, "trod": 2}', "'trod' stands twice"),
        ('{"trod": NaN}', "NaN is no number"),
        ("[" * 100_000, "no whole JSON"),
        ("[]", "field form file: got []; needed: a JSON object"),
        ("{}", "kind: got 'nothing'; needed: \"visits\": the file that a field form's page exports"),
        ('{"trod": 1, "kind": "ledger"}', "kind: got 'ledger'"),
        ('{"trod": 2, "kind": "visits"}', "format 1 or older; use the newer Trod that made the field form"),
        ('{"trod": true, "kind": "visits"}', "the format's number, 1"),
        ('{"trod": 1, "kind": "visits"}', "field_form: got 'nothing'; needed: this field"),
    ],
)
def test_what_is_no_field_form_file_is_refused_with_a_remedy(source: str | bytes, words: str) -> None:
    assert words in refused(source)


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("uuid", "1", "visits[0].uuid: got '1'; needed: a UUID in small letters"),
        ("uuid", "7C1D8F5E-6A2B-4C3D-9E4F-000000000001", "a UUID in small letters"),
        ("site", "../../etc", "visits[0].site: got '../../etc'; needed: small letters, digits, dashes"),
        ("site", "", "small letters, digits, dashes"),
        ("deployment", None, "small letters, digits, dashes, or nothing"),
        ("arrival", "fine", "one of working, dead, full, knocked, blind, gone, unknown"),
        ("outcome", "seen", "one of visited, not visited"),
        ("battery_percent", 101, "visits[0].battery_percent: got 101; needed: a number from 0 to 100, or null"),
        ("battery_percent", True, "a number from 0 to 100, or null"),
        ("battery_percent", "40", "a number from 0 to 100, or null"),
        ("batteries_changed", 1, "true or false"),
        ("revision", 0, "a whole number from 1 to 1000000000"),
        ("revision", 1.5, "a whole number"),
        ("at", "2026-10-17", "a time with its zone, such as 2026-10-17T08:30:00Z"),
        ("at", "2026-10-17T08:30:00", "a time with its zone"),
        ("at", "2026-02-30T08:30:00Z", "a time with its zone"),
        ("at", "0001-01-01T00:00:00+14:00", "a time with its zone"),
        ("by", "x" * 81, "a text of at most 80 characters"),
        ("note", "x" * 4001, "a text of at most 4000 characters"),
        ("note", None, "a text of at most 4000 characters"),
        ("walk_passes", {}, "visits[0].walk_passes: got {}; needed: a list of at most 100"),
        ("walk_passes", [{}] * 101, "got '101 of them'; needed: a list of at most 100"),
        ("walk_passes", [7], "visits[0].walk_passes[0]: got 7; needed: a JSON object"),
        ("walk_passes", [{"distance_m": -1, "way": "away", "picture": "no"}], "walk_passes[0].distance_m: got -1"),
        ("changes", {}, "visits[0].changes.burst: got 'nothing'; needed: this field"),
        ("place", {"latitude_deg": None}, "visits[0].place.longitude_deg: got 'nothing'"),
        ("extra", 1, "visits[0].extra: got 1; needed: no such field in format 1"),
    ],
)
def test_a_field_that_cannot_be_is_refused_by_its_place(made: Any, field: str, value: Any, words: str) -> None:
    assert words in refused(made.file(made.visit(**{field: value})))


def test_one_visit_stands_only_once_in_a_file(made: Any) -> None:
    assert "visits[1].uuid" in refused(made.file(made.visit(), made.visit()))


def test_half_a_burst_is_refused(made: Any) -> None:
    changes = {**made.visit()["changes"], "burst": 2.5}

    assert "visits[0].changes.burst: got 2.5; needed: a whole number, or null" in refused(
        made.file(made.visit(changes=changes))
    )


def png() -> bytes:
    held = io.BytesIO()
    Image.new("RGB", (8, 6)).save(held, "PNG")
    return held.getvalue()


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"jpeg": "%%%"}, "visits[0].photos[0].jpeg: got '%%%'; needed: base64"),
        ({"jpeg": ""}, "a JPEG picture"),
        ({"jpeg": base64.b64encode(png()).decode()}, "a JPEG picture"),
        ({"jpeg": base64.b64encode(b"\xff\xd8\xff\xd9").decode()}, "a JPEG picture"),
        ({"width": 9}, "a picture of 9 × 6, as the file says beside it"),
        ({"width": 60_000}, "a whole number from 1 to 4096"),
        ({"jpeg": "A" * 6_000_000}, "base64 of at most 4 MB"),
    ],
)
def test_a_photo_that_is_none_is_refused(made: Any, more: dict[str, Any], words: str) -> None:
    assert words in refused(made.file(made.visit(photos=[made.photo(**more)])))


def test_a_file_beyond_the_limit_is_refused_before_it_is_read(made: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading, "MOST_BYTES", 1_000_000)

    assert refused("x" * 1_000_001) == "field form file: got '1 MB'; needed: at most 1 MB"


def test_a_refusal_does_not_repeat_a_whole_hostile_text(made: Any) -> None:
    assert len(refused(made.file(made.visit(arrival="x" * 100_000)))) < 300


def test_control_characters_and_half_surrogates_in_notes_become_harmless(made: Any) -> None:
    text = json.dumps(made.file(made.visit(note="a\x00b\u001b[31mc")))
    visit = read_field_form(text.replace("Trimmed", "\\ud800Trimmed")).visits[0]

    assert visit.note == "a b [31mc"
    visit.work.encode("utf-8")
    assert visit.digest() == read_field_form(text.replace("Trimmed", "\\ud800Trimmed")).visits[0].digest()


def test_a_phone_s_clock_that_went_wrong_is_doubted_and_not_refused(made: Any) -> None:
    back = made.visit(changed_at="2026-10-16T08:00:00Z")
    ahead = made.visit(2, at="2027-01-01T08:00:00Z")

    told = read(made.file(back, ahead, exported_at="2026-10-16T15:00:00Z")).doubts

    assert len(told) == 4  # the 17th of the first visit, too, lies after the file
    assert told[0].startswith("The phone wrote the file at 2026-10-16 15:00 UTC, before the field form was made")
    assert "alder-ford: last changed at 2026-10-16 08:00 UTC, before it was begun" in told[1]
    assert "said to be at 2027-01-01 08:00 UTC, after the file was written" in told[3]


@settings(max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_no_damage_to_a_file_makes_anything_but_a_word_of_refusal(made: Any, data: st.DataObject) -> None:
    """Bytes changed, cut or put in: the file reads or is refused; nothing else happens."""
    raw = bytearray(json.dumps(made.file(made.visit(photos=[made.photo()]))).encode())
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(raw) - 1))
        raw[at : at + data.draw(st.integers(0, 9))] = data.draw(st.binary(max_size=9))

    try:
        came = read_field_form(bytes(raw))
    except WrongInput as told:
        assert str(told)
    else:
        assert all(isinstance(visit.digest(), str) for visit in came.visits)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)


@settings(max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data(), JSON)
def test_any_value_in_any_field_reads_or_is_refused(made: Any, data: st.DataObject, value: Any) -> None:
    file = made.file(made.visit(photos=[made.photo()]))
    at: Any = file
    while True:
        key = data.draw(st.sampled_from(sorted(at) if isinstance(at, dict) else range(len(at))))
        if not isinstance(at[key], dict | list) or not at[key] or data.draw(st.booleans()):
            break
        at = at[key]
    at[key] = value

    try:
        read_field_form(json.dumps(file))
    except WrongInput as told:
        assert str(told)


def test_the_document_names_every_field_and_its_example_reads(made: Any, root: Path) -> None:
    document = (root / "docs" / "fieldform.md").read_text("utf-8")
    example = re.search(r"```json\n(\{\n \"trod\".*?)```", document, flags=re.S)

    assert example and read_field_form(example[1]).visits == ()
    assert [name for name in made.visit() if f"`{name}`" not in document] == []
