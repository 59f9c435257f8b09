"""Records to plain data, as JSON carries it, and back, by their own fields and types."""

from __future__ import annotations

import re
from typing import Any, TypeVar, get_origin

import msgspec
import numpy as np

from trod.errors import WrongInput

T = TypeVar("T")
KINDS = {
    "float": "a number", "int": "a whole number", "str": "a text", "bool": "true or false", "array": "a list",
    "object": "a record", "null": "nothing", "date": "a day", "datetime": "a time",
}  # fmt: skip


def plain(record: Any) -> Any:
    """A record as JSON carries it: days and times as text (ISO 8601), sets in order, no number where there is none."""
    told = msgspec.to_builtins(record, str_keys=True, order="deterministic", enc_hook=_of_numpy)
    return msgspec.json.decode(msgspec.json.encode(told))  # tuples come back as the lists that JSON has


def _of_numpy(value: Any) -> Any:
    if isinstance(value, np.generic | np.ndarray):
        return value.tolist()
    raise TypeError(f"got a {type(value).__name__}; needed: what JSON can carry")


def _to_numpy(kind: Any, value: Any) -> Any:
    if isinstance(value, list) and issubclass(get_origin(kind) or kind, np.ndarray):
        return np.array(value)
    return value


def record(kind: type[T], row: Any, *, what: str, needed: str) -> T:
    """The record that plain data stand for; fields that it does not know are passed over.

    what, needed : as `WrongInput` has them, which is raised for data that are no such record and tells the place.
    """
    try:
        return msgspec.convert(row, kind, str_keys=True, dec_hook=_to_numpy)
    except msgspec.ValidationError as problem:
        if isinstance(problem.__cause__, WrongInput):
            raise problem.__cause__ from problem
        raise WrongInput(what, got=in_words(str(problem)), needed=needed) from problem


def in_words(fault: str) -> str:
    """A fault of the library as a person reads it: "trips[0].load_kg: needed a number, got a text"."""
    words, _, place = fault.partition(" - at `$")
    words = re.sub(r"^Expected (.*), got (.*)$", r"needed \1, got \2", words)
    words = re.sub(r"^Object missing required field `(.*)`$", r"“\1” is missing", words)
    words = re.sub(r"`([^`]*)`", lambda found: " or ".join(KINDS.get(k, k) for k in found[1].split(" | ")), words)
    place = place.rstrip("`").lstrip(".")
    return f"{place}: {words}" if place else words
