"""A drawing let into the field form's page: only shapes and words, nothing that runs, loads or leads elsewhere.

The SVG is read as XML and written anew from a list of what is allowed; all else is refused by name. Its ids get
a prefix, so that two drawings on one page do not take each other's patterns.
"""

from __future__ import annotations

import re
from html import escape
from xml.etree import ElementTree

from trod.errors import WrongInput

_SVG = "http://www.w3.org/2000/svg"
_SHAPE_NAMES = (
    "svg g path rect circle ellipse line polyline polygon text tspan title desc defs pattern clipPath "
    "linearGradient radialGradient stop marker use"
)
_SHAPES = frozenset(_SHAPE_NAMES.split())
_MARK_NAMES = """
    id viewBox width height x y x1 y1 x2 y2 cx cy r rx ry dx dy d points transform fill fill-opacity fill-rule
    stroke stroke-width stroke-dasharray stroke-dashoffset stroke-linecap stroke-linejoin stroke-opacity
    stroke-miterlimit opacity font-size font-family font-style font-weight text-anchor dominant-baseline
    letter-spacing paint-order vector-effect patternUnits patternTransform patternContentUnits gradientUnits
    gradientTransform offset stop-color stop-opacity clip-path clip-rule clipPathUnits marker-start marker-mid
    marker-end markerWidth markerHeight refX refY orient markerUnits role aria-label aria-labelledby aria-hidden
    preserveAspectRatio href display visibility fx fy"""
_MARKS = frozenset(_MARK_NAMES.split())
_ID = re.compile(r"[A-Za-z_][\w.-]*")
_OWN = re.compile(r"url\(#([A-Za-z_][\w.-]*)\)")
_DEEPEST = 40


def safe_svg(svg: str, *, key: str) -> str:
    """The drawing, written anew; an empty text stays empty.

    key : letters, digits and dashes; stands before every id.
    Raises WrongInput naming the element or attribute that may not stand in a field form.
    """
    if not svg.strip():
        return ""
    if "<!" in svg or "<?" in svg.replace("<?xml", "", 1):
        raise WrongInput("drawing", got="a declaration or an instruction", needed="plain SVG elements only")
    try:
        tree = ElementTree.fromstring(svg)
    except (ElementTree.ParseError, ValueError) as problem:
        raise WrongInput("drawing", got=f"no well-formed SVG ({problem})", needed="an <svg> of shapes") from problem
    if tree.tag != f"{{{_SVG}}}svg":
        raise WrongInput("drawing", got=tree.tag, needed=f"an <svg> of {_SVG}")
    if not tree.get("viewBox"):
        raise WrongInput("drawing", got="an <svg> without viewBox", needed="a viewBox, so that it fits a phone")
    pieces: list[str] = []
    _write(tree, key, pieces, 0)
    return "".join(pieces)


def _write(node: ElementTree.Element, key: str, pieces: list[str], depth: int) -> None:
    name = node.tag.removeprefix(f"{{{_SVG}}}")
    if name not in _SHAPES or depth > _DEEPEST:
        raise WrongInput("drawing", got=f"<{name}>", needed="only " + ", ".join(sorted(_SHAPES)))
    marks = "".join(
        f' {mark}="{escape(_value(mark, value, key))}"'
        for mark, value in node.attrib.items()
        # A fixed size would push a phone's page wide; the viewBox keeps the shape.
        if not (name == "svg" and mark in ("width", "height"))
    )
    pieces.append(f"<{name}{marks}>")
    pieces.append(escape(node.text or "", quote=False))
    for child in node:
        _write(child, key, pieces, depth + 1)
        pieces.append(escape(child.tail or "", quote=False))
    pieces.append(f"</{name}>")


def _value(mark: str, value: str, key: str) -> str:
    """An attribute's value with its ids prefixed; refuses what is not on the list."""
    if mark not in _MARKS:
        raise WrongInput("drawing", got=f"the attribute {mark}", needed="only attributes of shape, place and paint")
    if mark == "id":
        if not _ID.fullmatch(value):
            raise WrongInput("drawing", got=f"id {value!r}", needed="letters, digits, - _ .")
        return f"{key}-{value}"
    if mark == "href":
        if not (value.startswith("#") and _ID.fullmatch(value[1:])):
            raise WrongInput("drawing", got=f"href {value!r}", needed="a place in the same drawing, such as #a")
        return f"#{key}-{value[1:]}"
    if mark == "aria-labelledby":
        return " ".join(f"{key}-{word}" for word in value.split())
    if "url" in value.lower():
        inner = _OWN.sub("", value)
        if "url" in inner.lower():
            raise WrongInput("drawing", got=f"{mark} {value!r}", needed="url(#…) of the same drawing")
        return _OWN.sub(lambda found: f"url(#{key}-{found[1]})", value)
    if "\\" in value:
        raise WrongInput("drawing", got=f"{mark} {value!r}", needed="a value without backslash")
    return value
