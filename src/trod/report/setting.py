"""A printed sheet, set by typst from one of our own templates.

With the fonts that typst carries within: no system font, no network, and the same bytes for the same data on
every machine of one typst version.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from importlib import resources
from typing import Any

from trod.drawing.palette import PAPER
from trod.report.sentences import clean


def set_pdf(room: str, template: str, told: Mapping[str, Any]) -> bytes:
    """The sheet as PDF.

    room : the package in which the template lies. told : what it prints, as JSON in `sys.inputs.data`; it is
    placed as text, never read as markup. The colours of paper come in `sys.inputs.colours`.
    """
    import typst

    inputs = {"data": clean(told), "colours": dict(PAPER)}
    made: bytes = typst.compile(
        resources.files(room).joinpath(template).read_bytes(),
        format="pdf",
        sys_inputs={name: json.dumps(of, ensure_ascii=False, allow_nan=False) for name, of in inputs.items()},
        ignore_system_fonts=True,
        font_paths=[],
    )
    return made
