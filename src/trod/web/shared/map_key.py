"""What the marks on the pages' maps mean. The style sheets draw a mark by its classes; its words stand here alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Mark:
    """One mark. css : its classes. words : what it means. inside : the figure that stands in it, as an example."""

    css: str
    words: str
    inside: str = ""


MARKS: Mapping[str, Mark] = {
    "camera": Mark("mk camera", "a site with a camera"),
    "without": Mark("mk", "a site without"),
    "site": Mark("mk", "a site"),
    "sensitive": Mark("mk camera sensitive", "sensitive: generalised in all that leaves"),
    "trail": Mark("mk f-trail", "trail or lane"),
    "ford": Mark("mk f-ford", "water or ford"),
    "meadow": Mark("mk f-meadow", "open ground or saddle"),
    "sign": Mark("mk sign", "sign seen"),
    "best": Mark("mk ranked", "the most promising", "1"),
    "watched": Mark("mk ranked camera", "a camera stands there", "2"),
    "hidden": Mark("mk ranked sensitive", "sensitive", "3"),
    "stop": Mark("stopmark", "a stop, by its turn", "3"),
    "start": Mark("stopmark home", "the start"),
    "left": Mark("mk", "left for another time"),
}
