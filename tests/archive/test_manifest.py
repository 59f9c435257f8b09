"""The written list of a bag: RFC 8493 (2018), "The BagIt File Packaging Format (V1.0)"."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trod.archive.manifest import (
    bagit_version,
    decode_path,
    distrust,
    encode_path,
    hash_file,
    payload_oxum,
    read_bag_info,
    read_manifest,
    read_oxum,
    write_bag_info,
    write_manifest,
    write_tag_files,
)
from trod.errors import WrongInput

A, B = "a" * 64, "b" * 64

# NIST, FIPS PUB 180-4, "Secure Hash Standard" (2015), and its example files; the values from memory and
# reproduced here by the hash of the Python in use.
FIPS_180_4 = [
    (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
    (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
    (
        b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
    ),
    (b"a" * 1_000_000, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
]


@pytest.mark.parametrize(("content", "sha256"), FIPS_180_4)
def test_the_hash_of_a_file_against_fips_180_4(tmp_path: Path, content: bytes, sha256: str) -> None:
    (tmp_path / "file").write_bytes(content)
    assert hash_file(tmp_path / "file", from_disk=True) == (sha256, len(content))


def test_a_manifest_is_lines_of_checksum_two_blanks_and_path_sorted() -> None:
    text = write_manifest({"data/b.jpg": B, "data/a.jpg": A})
    assert text == f"{A}  data/a.jpg\n{B}  data/b.jpg\n".encode()


@pytest.mark.parametrize(
    "line", [f"{A} data/x", f"{A}\t \tdata/x", f"{A.upper()}  data/x", f"{A} *data/x", f"{A}  ./data/x"]
)
def test_blanks_tabs_a_star_and_either_case_are_read(line: str) -> None:
    for end in ("\n", "\r\n", ""):
        assert read_manifest((line + end).encode()).files == {"data/x": A}


def test_line_ends_and_percent_signs_in_names_and_only_those_are_encoded() -> None:
    assert encode_path("data/a\r\nb%20 c.jpg") == "data/a%0D%0Ab%2520 c.jpg"
    assert decode_path("data/a%0d%0Ab%2520%41.jpg") == "data/a\r\nb%20%41.jpg"


@given(st.text(st.characters(codec="utf-8", exclude_characters="/\0"), min_size=1))
def test_every_name_comes_back_from_a_manifest(name: str) -> None:
    path = f"data/x{name}"
    assert read_manifest(write_manifest({path: A})).files == {path: A}


@pytest.mark.parametrize(
    ("path", "payload", "reason"),
    [
        ("data/a.jpg", True, None),
        ("bag-info.txt", False, None),
        ("/etc/passwd", True, "it is absolute"),
        ("C:/data/x", True, "it is absolute"),
        ("~/x", True, "it is absolute"),
        ("\\\\server\\x", True, "it is absolute"),
        ("data/../../x", True, "it climbs or has an empty part"),
        ("data/./x", True, "it climbs or has an empty part"),
        ("data//x", True, "it climbs or has an empty part"),
        ("data/a\0b", True, "it has a forbidden character"),
        ("other/x", True, "it does not lie below data/"),
        ("data", True, "it does not lie below data/"),
        ("data/x", False, "it lies below data/"),
    ],
)
def test_a_path_from_a_manifest_is_distrusted(path: str, payload: bool, reason: str | None) -> None:
    assert distrust(path, payload=payload) == reason


def test_what_is_wrong_in_a_manifest_is_told_and_not_followed() -> None:
    text = f"\ufeff{A}  data/a\nrubbish\n{A}  /etc/passwd\n{B}  data/a\n{A}  data/a\n\n".encode() + b"\xff\n"
    found = read_manifest(text)
    assert found.files == {"data/a": A}
    assert found.faults == (
        f"it is not UTF-8 from byte {len(text) - 2} on",
        "it begins with a byte order mark",
        "line 2 is no checksum and path",
        "line 3 names a path that is not followed, for it is absolute",
        "line 4 contradicts an earlier one",
        "line 7 is no checksum and path",
    )


def test_payload_oxum_against_the_example_of_rfc_8493_section_2_2_2() -> None:
    assert read_oxum("279164409832.1198") == (279164409832, 1198)
    assert payload_oxum([279164409832 - 1197, *[1] * 1197]) == "279164409832.1198"


@pytest.mark.parametrize("text", ["", "12", "12.", "1.2.3", "-1.2", "1e9.2", "٣.٤", "9" * 400 + ".1"])
def test_what_is_no_oxum_is_not_taken_for_one(text: str) -> None:
    assert read_oxum(text) is None


def test_bag_info_is_label_and_value_and_a_value_stays_on_its_line() -> None:
    text = write_bag_info([("Contact-Name", "Ada Fenn"), ("Note", "two\nlines\r\nPayload-Oxum: 0.0")])
    assert text == b"Contact-Name: Ada Fenn\nNote: two lines Payload-Oxum: 0.0\n"
    assert read_bag_info(b"A: b\n  c\r\nD:e\n") == [("A", "b c"), ("D", "e")]


@pytest.mark.parametrize("label", ["", "a:b", " a", "a ", "a\nb"])
def test_a_label_that_the_format_cannot_carry_is_refused(label: str) -> None:
    with pytest.raises(WrongInput, match="needed: text without colon, line end, outer blanks"):
        write_bag_info([(label, "x")])


def test_the_declaration_of_rfc_8493_section_2_1_1() -> None:
    assert bagit_version(b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n") == "1.0"
    assert bagit_version(b"BagIt-Version: 0.97\r\nTag-File-Character-Encoding: UTF-8\r\n") == "0.97"
    assert bagit_version(b"\xef\xbb\xbfBagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n") is None
    assert bagit_version(b"BagIt-Version: 1.0\n") is None


def test_the_list_of_tag_files_covers_every_other_one(tmp_path: Path) -> None:
    write_tag_files(tmp_path, payload={"data/a": A}, about=[("X", "y")], tags={"extra.jsonl": b"{}\n"})
    listed = read_manifest((tmp_path / "tagmanifest-sha256.txt").read_bytes(), payload=False).files
    there = {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in tmp_path.iterdir()}
    del there["tagmanifest-sha256.txt"]
    assert listed == there
    assert set(listed) == {"bagit.txt", "bag-info.txt", "manifest-sha256.txt", "extra.jsonl"}
