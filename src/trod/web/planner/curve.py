"""The share of a herd that is seen, by lens height, drawn with its numbers in a title and in words."""

from __future__ import annotations

from html import escape

from trod.telling.measures import length
from trod.units import System
from trod.web.shared.placing import Herd

WIDE, HIGH = 560.0, 250.0
LEFT, RIGHT, TOP, FOOT = 52.0, 16.0, 22.0, 44.0
_INK = {"ink": "#26231c", "faint": "#625a48", "ruled": "#ddd3bb", "moss": "#46602a", "clay": "#9c4221"}


def _of(name: str) -> str:
    return f"var(--{name}, {_INK[name]})"


def herd_svg(herd: Herd, *, system: System = "metric") -> str:
    """A line from the lowest lens to the highest; a ring where the camera hangs, a post where height pays."""
    low, high = herd.rows[0][0], herd.rows[-1][0]

    def at(height: float, share: float) -> tuple[float, float]:
        x = LEFT + (height - low) / max(high - low, 0.1) * (WIDE - LEFT - RIGHT)
        return x, TOP + (1 - share) * (HIGH - TOP - FOOT)

    parts = []
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        x, y = at(low, share)
        parts.append(f'<path d="M{x:.1f} {y:.1f}H{WIDE - RIGHT:.1f}" stroke="{_of("ruled")}"/>')
        parts.append(_text(x - 8, y + 4, f"{100 * share:.0f}", anchor="end", ink="faint"))
    step = 1 if high - low > 2.5 else 0.5
    mark = low - low % step + step
    while mark < high - 0.3 * step:
        x, y = at(mark, 0)
        parts.append(f'<path d="M{x:.1f} {y:.1f}v5" stroke="{_of("ink")}"/>')
        parts.append(_text(x, y + 19, length(mark, system), anchor="middle", ink="faint"))
        mark += step
    if herd.pays_m is not None:
        x, _ = at(herd.pays_m, 0)
        top = at(herd.pays_m, 1)[1]
        foot = at(herd.pays_m, 0)[1]
        parts.append(
            f'<path d="M{x:.1f} {top:.1f}V{foot:.1f}" stroke="{_of("moss")}" stroke-width="1.6" stroke-dasharray="7 4"/>'
        )
        end = x > WIDE * 0.7
        anchor = "end" if end else "start"
        parts.append(_text(x + (-6 if end else 6), foot - 8, "pays from here", anchor=anchor, ink="moss"))
    line = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in (at(*row) for row in herd.rows))
    parts.append(f'<path d="{line}" fill="none" stroke="{_of("ink")}" stroke-width="2.4"/>')
    if herd.here is not None:
        x, y = at(*herd.here)
        clay = _of("clay")
        parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="6.5" fill="none" stroke="{clay}" stroke-width="2.6"/>')
        end = x > WIDE * 0.7
        anchor = "end" if end else "start"
        parts.append(_text(x + (-12 if end else 12), y + 18, "yours", anchor=anchor, ink="clay", bold=True))
    parts.append(_text(LEFT - 40, 13, "of 100 animals, seen", ink="ink"))
    parts.append(_text(WIDE - RIGHT, HIGH - 6, "lens height", anchor="end", ink="ink"))
    words = herd.sentence + (
        f" From {length(herd.here[0], system)}, as here, about {100 * herd.here[1]:.0f} of 100." if herd.here else ""
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE:.0f} {HIGH:.0f}" role="img" '
        f'aria-label="{escape(words)}" font-family="system-ui, sans-serif">' + "".join(parts) + "</svg>"
    )


def _text(x: float, y: float, words: str, *, anchor: str = "start", ink: str = "ink", bold: bool = False) -> str:
    weight = ' font-weight="600"' if bold else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="13" text-anchor="{anchor}" fill="{_of(ink)}"{weight}>'
        f"{escape(words)}</text>"
    )
