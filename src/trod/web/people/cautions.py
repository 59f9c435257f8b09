"""The cautions, as they ship with the package: `web/cautions.md`, turned into a page.

A few lines of our own do for the little Markdown we write: headings, paragraphs, lists, bold, italics, code.
"""

from __future__ import annotations

import re
from functools import lru_cache
from pathlib import Path

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

TEXT = Path(__file__).parents[1] / "cautions.md"


def _inline(text: str) -> str:
    safe: str = escape(text)
    safe = re.sub(r"`([^`]+)`", r"<code>\1</code>", safe)
    safe = re.sub(r"\*\*([^*]+)\*\*", r"<strong>\1</strong>", safe)
    return re.sub(r"(?<![*\w])\*([^*\s][^*]*)\*", r"<em>\1</em>", safe)


def to_html(text: str) -> SafeString:
    """Our little Markdown as HTML.

    Whatever it does not know stands there as text; nothing is passed through.
    """
    out: list[str] = []
    for block in re.split(r"\n\s*\n", text.replace("\r\n", "\n").strip()):
        lines = block.split("\n")
        while lines:
            heading = re.match(r"(#{1,4})\s+(.*)", lines[0])
            if heading:
                level = len(heading[1])
                out.append(f"<h{level}>{_inline(heading[2])}</h{level}>")
                lines = lines[1:]
                continue
            mark = re.match(r"([-*]|\d+\.)\s+", lines[0])
            if mark:
                tag = "ol" if mark[1][0].isdigit() else "ul"
                items: list[str] = []
                for line in lines:
                    if re.match(r"([-*]|\d+\.)\s+", line):
                        items.append(re.sub(r"^([-*]|\d+\.)\s+", "", line))
                    else:
                        items[-1] += " " + line.strip()
                out.append(f"<{tag}>" + "".join(f"<li>{_inline(item)}</li>" for item in items) + f"</{tag}>")
            else:
                rest = [line.strip() for line in lines]
                cut = next((i for i, x in enumerate(rest) if i and re.match(r"(#{1,4}|[-*]|\d+\.)\s+", x)), len(rest))
                out.append(f"<p>{_inline(' '.join(rest[:cut]))}</p>")
                lines = lines[cut:]
                continue
            lines = []
    return mark_safe("\n".join(out))  # noqa: S308 - all text went through _inline, which escapes


@lru_cache(maxsize=1)
def cautions_html() -> SafeString:
    return to_html(TEXT.read_text("utf-8"))
