"""Names from a card, made safe for every disk."""

from __future__ import annotations

import re
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trod.archive.names import (
    LONGEST_NAME_BYTES,
    LONGEST_PATH_BYTES,
    is_hostile,
    printable,
    safe_name,
    safe_paths,
    same_place,
)

# Reserved device names of Windows: Microsoft, "Naming Files, Paths, and Namespaces" (from memory).
RESERVED = ["CON", "con.jpg", "PRN.txt", "AUX", "nul.JPG", "COM1", "com9.jpg", "LPT1.x", "COM¹.x", "CON .x"]


@pytest.mark.parametrize("name", ["MEAD0001.JPG", "Wiese früh.jpg", "a-b_c(1).jpeg", ".nomedia", "猪.jpg"])
def test_a_harmless_name_is_kept(name: str) -> None:
    assert safe_name(name) == name
    assert not is_hostile(f"DCIM/{name}")


@pytest.mark.parametrize("name", RESERVED)
def test_a_name_that_windows_reserves_gets_another(name: str) -> None:
    assert safe_name(name) == "_" + name
    assert is_hostile(name)


@pytest.mark.parametrize(
    ("name", "safe"),
    [
        ("a\nb.jpg", "a_b.jpg"),
        ("a\rb.jpg", "a_b.jpg"),
        ("50%.jpg", "50_.jpg"),
        ("what?.jpg", "what_.jpg"),
        ("a:b.jpg", "a_b.jpg"),
        ("back\\slash.jpg", "back_slash.jpg"),
        ("trailing. ", "trailing"),
        (" leading.jpg", "leading.jpg"),
        ("..", "_"),
        (".", "_"),
        ("", "_"),
        ("gpj.\u202egnp", "gpj._gnp"),  # a mark that turns the reading direction
        ("\udcff\udcfe.jpg", "__.jpg"),  # bytes that are no UTF-8
        ("nul\0byte", "nul_byte"),
    ],
)
def test_a_hostile_name_becomes_a_plain_one(name: str, safe: str) -> None:
    assert safe_name(name) == safe


def test_a_very_long_name_is_shortened_and_keeps_its_ending_and_stays_apart() -> None:
    one, other = safe_name("x" * 300 + "1.jpg"), safe_name("x" * 300 + "2.jpg")
    assert len(one) <= LONGEST_NAME_BYTES
    assert one.endswith(".jpg")
    assert one != other


def test_the_two_unicode_forms_of_one_name_are_one_place_and_both_files_are_kept() -> None:
    composed, decomposed = "h\u00fctte.jpg", "hu\u0308tte.jpg"
    found = safe_paths([f"a/{composed}", f"a/{decomposed}"])
    assert found == {f"a/{composed}": "a/hütte.jpg", f"a/{decomposed}": "a/hütte~2.jpg"}


def test_names_that_differ_by_case_only_do_not_meet_on_a_disk_that_does_not_see_case() -> None:
    found = safe_paths(["DCIM/100MEADW/A.JPG", "dcim/100meadw/a.jpg", "DCIM/100meadw/b.jpg"])
    assert list(found.values()) == ["DCIM/100MEADW/A.JPG", "DCIM/100MEADW/a~2.jpg", "DCIM/100MEADW/b.jpg"]


def test_a_file_gives_way_to_a_folder_of_its_name() -> None:
    found = safe_paths(["x", "X/y.jpg"])
    assert found["X/y.jpg"] == "X/y.jpg"
    assert same_place(found["x"]) != same_place("X")


def test_a_path_that_is_too_long_for_windows_is_laid_down_flat() -> None:
    deep = "/".join(["folder"] * 60) + "/MEAD0001.JPG"
    found = safe_paths([deep, "deep", deep.replace("0001", "0002")])
    assert re.fullmatch(r"deep/[0-9a-f]{16}-MEAD0001\.JPG", found[deep])
    assert found["deep"] != "deep"  # it would be in the way of the folder


def test_paths_given_out_before_stay_theirs() -> None:
    assert safe_paths(["A/1.jpg"], taken=["a/1.JPG"]) == {"A/1.jpg": "a/1~2.jpg"}


def test_a_name_is_shown_with_what_cannot_be_seen_spelled_out() -> None:
    assert printable("a\nb\x1b[31m\u202e\udcff") == "a\\nb\\x1b[31m\\u202e\\udcff"


names = st.text(st.characters(codec=None, exclude_characters="/"), max_size=40) | st.sampled_from(
    ["CON", "..", ".", "a", "A", "ä", "a\u0308", "ß", "ss", "SS", "İ", "x" * 300, "a~2", "deep", "data"]
)


@given(st.lists(st.lists(names, min_size=1, max_size=4).map("/".join), max_size=12))
def test_whatever_the_names_no_two_files_meet_and_none_leaves_its_folder(paths: list[str]) -> None:
    found = safe_paths(paths)
    assert set(found) == set(paths)
    places = [same_place(p) for p in found.values()]
    assert len(set(places)) == len(places)
    folders: dict[str, str] = {}
    for path in found.values():
        assert len(path.encode()) <= LONGEST_PATH_BYTES + 4
        assert unicodedata.normalize("NFC", path) == path
        parts = path.split("/")
        for part in parts:
            assert part not in ("", ".", "..")
            assert not set('<>:"\\|?*%\r\n\0') & set(part)
            assert part == part.rstrip(" .")
        for depth in range(1, len(parts)):  # a folder has one spelling, and no file has its name
            folder = "/".join(parts[:depth])
            assert folders.setdefault(same_place(folder), folder) == folder
    assert not set(folders) & set(places)


@given(st.lists(names, max_size=8))
def test_a_safe_name_is_safe_already(some: list[str]) -> None:
    for name in some:
        assert safe_name(safe_name(name)) == safe_name(name)
