"""One palette: the style sheets agree with it, and no colour stands anywhere else."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from trod.drawing import palette

SOURCE = Path(__file__).resolve().parents[2] / "src"
SHEET = (SOURCE / "trod" / "web" / "static" / "trod" / "trod.css").read_text("utf-8")
KNOWN = {"#000", "#fff"} | {colour for tone in palette.TONES.values() for colour in tone.values()}
COLOUR = re.compile(r"""(?<=[:\s"'(])#(?:[0-9a-fA-F]{6}|[0-9a-fA-F]{3})\b(?!-)""")


def declared(block: str) -> dict[str, str]:
    return dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", block))


@pytest.mark.parametrize(("tone", "times"), [("light", 1), ("night", 2), ("paper", 1)])
def test_the_pages_declare_the_colours_of_the_palette(tone: palette.Tone, times: int) -> None:
    """By night twice: where the reader chose it, and where the machine did."""
    wanted = declared(palette.as_css(tone))
    blocks = [found for block in re.findall(r"\{([^{}]*)\}", SHEET) if (found := declared(block)) == wanted]

    assert len(wanted) == 12 and len(blocks) == times


def stray(path: Path) -> list[str]:
    """The colours of a file that are not the palette's; in code any colour is one."""
    known = {"#000", "#fff"} if path.suffix in (".py", ".typ") else KNOWN
    return [c for c in COLOUR.findall(path.read_text("utf-8")) if c not in known]


def test_no_file_has_a_colour_of_its_own() -> None:
    kinds = (".css", ".html", ".js", ".py", ".svg", ".typ")
    own = Path(palette.__file__)
    files = [p for p in sorted(SOURCE.rglob("*")) if p.suffix in kinds and p != own and "vendor" not in p.parts]
    found = {str(p.relative_to(SOURCE)): colours for p in files if (colours := stray(p))}

    assert len(files) > 400 and found == {}


def test_a_stray_colour_is_found(tmp_path: Path) -> None:
    for name, text, wanted in (
        ("a.css", ".x { color: #625a48; fill: var(--ink) } .y { color: #5a5342 } #stops { top: 0 }", ["#625a48"]),
        ("a.html", '<p style="color:#abc">', ["#abc"]),
        ("a.py", 'INK = "#26231c"', ["#26231c"]),
        ("a.typ", '#let ink = rgb("#1d1b16")', ["#1d1b16"]),
    ):
        (tmp_path / name).write_text(text, "utf-8")
        assert stray(tmp_path / name) == wanted


def test_no_tone_lacks_a_colour() -> None:
    assert palette.LIGHT.keys() == palette.NIGHT.keys() <= palette.PAPER.keys()


@pytest.mark.parametrize("tone", palette.TONES)
def test_words_stand_out_from_their_ground(tone: palette.Tone) -> None:
    """At least 4.5 to 1: W3C, Web Content Accessibility Guidelines 2.2, 1.4.3; its own formula."""
    colours = palette.TONES[tone]

    def light(name: str) -> float:
        parts = [int(colours[name][n : n + 2], 16) / 255 for n in (1, 3, 5)]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    for words, ground in (
        ("ink", "paper"), ("ink", "leaf"), ("ink", "moss-wash"), ("ink", "clay-wash"), ("faint", "paper"),
        ("faint", "leaf"), ("moss", "leaf"), ("moss", "paper"), ("clay", "paper"), ("clay", "clay-wash"),
        ("water", "leaf"), ("moss-ink", "moss"),
    ):  # fmt: skip
        high, low = sorted((light(words), light(ground)), reverse=True)
        assert (high + 0.05) / (low + 0.05) >= 4.5, (words, ground)
