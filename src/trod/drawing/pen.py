"""One pen for every drawn figure: shapes and words, gathered to an SVG.

Colours are named, never written: a drawing for a page takes them from its style sheet (`--ink`, `--moss` …),
with the light theme's values behind for a drawing that stands alone; one for paper, light or night bears plain
values. Where a page's style sheet paints, a shape bears its class (`css`) instead.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from html import escape
from typing import Literal, Self

from trod.drawing.palette import LIGHT, TONES
from trod.errors import WrongInput

Theme = Literal["page", "light", "night", "paper"]
Mark = str | float | None
Point = tuple[float, float]

SANS = "system-ui, 'DejaVu Sans', sans-serif"
PLACES = 2
_KEY = re.compile(r"[A-Za-z0-9-]{1,40}")
_PAINT = ("fill", "stroke")
_SHORT = {
    "css": "class",
    "ink": "stroke",
    "wide": "stroke-width",
    "dash": "stroke-dasharray",
    "opacity": "fill-opacity",
    "anchor": "text-anchor",
    "size": "font-size",
}
# What XML 1.0 cannot hold, even escaped (its production Char).
_NO_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


class Svg(str):
    """A finished drawing. A page's template takes it as markup, for the pen has escaped every word in it."""

    __slots__ = ()

    def __html__(self) -> Self:
        return self


NO_DRAWING = Svg()


def number(value: float) -> str:
    """A number as it stands in a drawing. Raises WrongInput for one that is none."""
    if not math.isfinite(value):
        raise WrongInput("place in a drawing", got=value, needed="a finite number")
    text = f"{value:.{PLACES}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def shape(*parts: str | float) -> str:
    """A path: commands as text, places as numbers. `shape("M", 0, 1.25, "h", 8, "Z")` is `M0 1.25h8Z`."""
    words: list[str] = []
    apart = False
    for part in parts:
        if isinstance(part, str):
            words.append(part)
        else:
            words.append(f" {number(part)}" if apart else number(part))
        apart = not isinstance(part, str)
    return "".join(words)


def through(points: Iterable[Point], *, closed: bool = False) -> str:
    """A path through points, along straight lines."""
    return "M" + "L".join(shape(x, y) for x, y in points) + ("Z" if closed else "")


def smooth(points: Iterable[Point]) -> str:
    """A closed path through the middles of an outline's sides, its corners as control points."""
    corners = list(points)
    middles = [((a[0] + b[0]) / 2, (a[1] + b[1]) / 2) for a, b in zip(corners, corners[1:] + corners[:1], strict=True)]
    bends = (shape("Q", *c, *m) for c, m in zip(corners, middles, strict=True))
    return shape("M", *middles[-1]) + "".join(bends) + "Z"


def sector(x: float, y: float, r0: float, r1: float, half_deg: float) -> str:
    """A sector, or ring with `r0` above 0, that opens upward."""
    s, c = math.sin(math.radians(half_deg)), math.cos(math.radians(half_deg))
    big = 1 if half_deg > 90 else 0
    over = ("A", r1, r1, 0, big, 1, x + r1 * s, y - r1 * c)
    if r0 <= 0:
        return shape("M", x, y, "L", x - r1 * s, y - r1 * c, *over, "Z")
    back = ("L", x + r0 * s, y - r0 * c, "A", r0, r0, 0, big, 0, x - r0 * s, y - r0 * c)
    return shape("M", x - r0 * s, y - r0 * c, "L", x - r1 * s, y - r1 * c, *over, *back, "Z")


def arc(x: float, y: float, r: float, half_deg: float) -> str:
    """An arc above a point, to half_deg (at most 90) on both sides of upright."""
    s, c = r * math.sin(math.radians(half_deg)), r * math.cos(math.radians(half_deg))
    return shape("M", x - s, y - c, "A", r, r, 0, 0, 1, x + s, y - c)


class Pen:
    """Gathers the pieces of one drawing. key : keeps its ids apart from those of others on the page.

    Further marks of a shape are attributes of SVG, dashes as underscores, or one of the short words `css`
    (class), `ink` (stroke), `wide` (stroke-width), `dash`, `opacity` (of the fill), `anchor` and `size`; None
    leaves one out. `fill` and `ink` are names of the palette, "none" or what `hatch` gave.
    """

    def __init__(self, theme: Theme = "page", *, key: str = "drawing", font: str = SANS) -> None:
        if not _KEY.fullmatch(key):
            raise WrongInput("key", got=key, needed="letters, digits and dashes, at most 40")
        if theme != "page" and theme not in TONES:
            raise WrongInput("theme", got=theme, needed="page, light, night or paper")
        self.theme, self.key, self.font = theme, key, font
        self._parts: list[str] = []

    def colour(self, name: str) -> str:
        """What paints in a colour of the palette."""
        if name == "none" or name.startswith(f"url(#{self.key}-"):
            return name
        tones = LIGHT if self.theme == "page" else TONES[self.theme]
        if name not in tones:
            raise WrongInput("colour", got=name, needed="none, a hatching or one of " + ", ".join(tones))
        return f"var(--{name}, {tones[name]})" if self.theme == "page" else tones[name]

    def _marks(self, marks: dict[str, Mark]) -> str:
        written = []
        for short, value in marks.items():
            if value is None:
                continue
            name = _SHORT.get(short, short.replace("_", "-"))
            if name in _PAINT and isinstance(value, str):
                value = self.colour(value)
            text = value if isinstance(value, str) else number(value)
            written.append(f' {name}="{_escaped(text)}"')
        return "".join(written)

    def put(self, tag: str, words: str | None = None, /, **marks: Mark) -> None:
        """One element; words : its text."""
        told = "/>" if words is None else f">{_escaped(words)}</{tag}>"
        self._parts.append(f"<{tag}{self._marks(marks)}{told}")

    @contextmanager
    def group(self, tag: str = "g", **marks: Mark) -> Iterator[None]:
        """What is drawn within stands in one group."""
        self._parts.append(f"<{tag}{self._marks(marks)}>")
        yield
        self._parts.append(f"</{tag}>")

    def path(self, d: str, **marks: Mark) -> None:
        """A path; empty within unless told otherwise."""
        self.put("path", d=d, **({} if "css" in marks else {"fill": "none"}) | marks)

    def line(self, x1: float, y1: float, x2: float, y2: float, *, ink: str = "ink", **marks: Mark) -> None:
        self.path(through(((x1, y1), (x2, y2))), ink=ink, **marks)

    def rect(self, x: float, y: float, width: float, height: float, **marks: Mark) -> None:
        self.put("rect", x=x, y=y, width=width, height=height, **marks)

    def circle(self, cx: float, cy: float, r: float, **marks: Mark) -> None:
        self.put("circle", cx=cx, cy=cy, r=r, **marks)

    def text(
        self, x: float, y: float, words: str, *, turn: float = 0.0, halo: bool = False, bold: bool = False, **marks: Mark
    ) -> None:
        """Words; halo : on a rim of the page's ground, which keeps them readable over lines."""
        if "css" not in marks:
            marks = {"size": 13.0, "fill": "ink", **marks}
        if halo:
            marks |= {"ink": "leaf", "wide": 3, "stroke_linejoin": "round", "paint_order": "stroke"}
        if bold:
            marks["font_weight"] = 600
        if turn:
            marks["transform"] = f"rotate({number(turn)} {number(x)} {number(y)})"
        self.put("text", words, x=x, y=y, **marks)

    def hatch(
        self, name: str, *, ink: str, turn: float = 45, gap: float = 6, wide: float = 0.4, ground: str = "none"
    ) -> str:
        """Defines a hatching of lines, upright before it is turned, and gives what to fill with."""
        own = f"{self.key}-{name}"
        turned = f"rotate({number(turn)})"
        with (
            self.group("defs"),
            self.group("pattern", id=own, width=gap, height=gap, patternUnits="userSpaceOnUse", patternTransform=turned),
        ):
            if ground != "none":
                self.rect(0, 0, gap, gap, fill=ground)
            self.rect(0, 0, wide, gap, fill=ink)
        return f"url(#{own})"

    @contextmanager
    def clipped(self, x: float, y: float, width: float, height: float) -> Iterator[None]:
        """What is drawn within shows inside a rectangle alone."""
        own = f"{self.key}-clip"
        with self.group("defs"), self.group("clipPath", id=own):
            self.rect(x, y, width, height)
        with self.group(clip_path=f"url(#{own})"):
            yield

    def done(self, wide: float, high: float, label: str = "", *, desc: str = "", **marks: Mark) -> Svg:
        """The drawing. label : what it shows, in words; empty where the words beside it say all. desc : at length."""
        head: dict[str, Mark] = {"xmlns": "http://www.w3.org/2000/svg", "viewBox": f"0 0 {number(wide)} {number(high)}"}
        told = ""
        if not label:
            head["aria_hidden"] = "true"
        elif not desc:
            head |= {"role": "img", "aria_label": label}
        else:
            head |= {"role": "img", "aria_labelledby": f"{self.key}-t {self.key}-d"}
            told = f'<title id="{self.key}-t">{_escaped(label)}</title><desc id="{self.key}-d">{_escaped(desc)}</desc>'
        font: dict[str, Mark] = {} if "css" in marks else {"font_family": self.font}
        return Svg(f"<svg{self._marks(head | font | marks)}>{told}{''.join(self._parts)}</svg>")


def _escaped(words: str) -> str:
    return escape(_NO_XML.sub(" ", words))
