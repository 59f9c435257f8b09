"""What files say besides their pictures, in words."""

from __future__ import annotations

import pytest

from trod.telling.file_facts import FileFacts, course, sentences


def test_files_that_say_nothing_are_told_nothing_of() -> None:
    assert sentences(FileFacts(files=12), "metric") == []


def test_temperature_and_voltage_are_told_with_how_many_files_tell_them_and_who_read_them() -> None:
    facts = FileFacts(
        files=240, with_air=240, coldest_c=-7.4, warmest_c=14.2, with_voltage=212, first_v=8.94, last_v=8.12,
        readers=("ExifTool 12.57", "Trod"),
    )  # fmt: skip
    air, voltage, by = sentences(facts, "metric")
    assert air.startswith("The camera's own thermometer told -7 °C to 14 °C in all 240 files;")
    assert voltage.startswith(
        "The batteries gave 8.9 V in the first file that tells it and 8.1 V in the last, as the camera wrote it in 212 "
        "of 240 files;"
    )
    assert by == "Read by ExifTool 12.57 and Trod."
    assert sentences(facts, "us")[0].startswith("The camera's own thermometer told 19 °F to 58 °F")


def test_one_file_and_one_value_are_told_as_one() -> None:
    facts = FileFacts(files=1, with_air=1, coldest_c=3, warmest_c=3, with_voltage=1, first_v=9, last_v=9)
    air, voltage, by = sentences(facts, "metric")
    assert "told 3 °C in 1 of 1 file;" in air
    assert voltage.startswith("The batteries gave 9.0 V, as")
    assert by == "By what is not known."


@pytest.mark.parametrize(
    ("first", "last", "told"), [(8.94, 8.1, "8.9 V to 8.1 V"), (8.94, 8.91, "8.9 V"), (None, None, "")]
)
def test_the_course_of_a_set(first: float | None, last: float | None, told: str) -> None:
    assert course(first, last) == told
