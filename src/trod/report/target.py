"""The printed target as a PDF to scale, with a page on how to photograph it."""

from __future__ import annotations

import math
from typing import Any

from trod.pictures import target_layout
from trod.pictures.target_layout import Sheet
from trod.report.setting import set_pdf

# The fewest pixels that one side of a square may have, and the number that makes for a good measurement.
# Ours; docs/models/resolution.md shows what they were tried on.
LEAST_SIDE_PX, GOOD_SIDE_PX = 45.0, 80.0
_TABLE_COLUMNS_PX = (2592, 4000, 5200)
_TABLE_VIEWS_DEG = (40.0, 55.0, 90.0)


def target_pdf(*, paper: str = "a4", made: str = "") -> bytes:
    """The target (page 1, landscape, to scale) and how to use it (page 2) as PDF.

    paper : "a4", "us-letter" or "a3" (its second page is A4). made : the version, for the foot of the page.
    Raises WrongInput for another paper.
    """
    sheet = target_layout.sheet(paper)
    return set_pdf("trod.report", "target.typ", _printed(sheet, made))


def farthest_m(*, columns: int, fov_deg: float, scale: float, side_px: float = GOOD_SIDE_PX) -> float:
    """How far off the target may hang for its squares to have so many pixels a side. [m]

    columns : of the saved picture. fov_deg : horizontal. scale : of the sheet, 1 for A4 and Letter.
    """
    side_m = target_layout.SQUARE_SIDE_MM * scale / 1000
    return columns * side_m / (side_px * 2 * math.tan(math.radians(fov_deg) / 2))


def _printed(sheet: Sheet, made: str) -> dict[str, Any]:
    ruler_y = sheet.middle_mm[1] + sheet.scale * (target_layout.DOTS_HIGH_MM + target_layout.DOT_DIAMETER_MM) / 2 + 9
    name = {"a4": "A4", "us-letter": "Letter", "a3": "A3"}[sheet.name]
    return {
        "wide": sheet.wide_mm,
        "high": sheet.high_mm,
        "scale": sheet.scale,
        "middle": list(sheet.middle_mm),
        "dots": target_layout.dots_mm().tolist(),
        "dot_diameter": target_layout.DOT_DIAMETER_MM,
        "hole_diameter": target_layout.HOLE_DIAMETER_MM,
        "squares": [
            {"corners": target_layout.square_mm(0).tolist(), "level": 0},
            {"corners": target_layout.square_mm(1).tolist(), "level": target_layout.GREY_LEVEL},
        ],
        "ruler": target_layout.RULER_MM,
        "ruler_y": ruler_y,
        "note_x": 14.0,
        "note_width": sheet.middle_mm[0] - target_layout.RULER_MM / 2 - 22,
        "left_note": f"Print on {name}, landscape, at 100 %, not fitted to the page. This way up: hole at top left.",
        "right_note": "This line must be 100 mm long. If it is not, type its true length when you measure the picture.",
        "title": "Target for a camera’s resolution",
        "kicker": "What the camera really resolves, by day and by infrared",
        "made": f"Made with Trod {made}".strip(),
        "text_paper": "us-letter" if sheet.name == "us-letter" else "a4",
        "parts": [
            {
                "head": "Print it",
                "numbered": True,
                "items": [
                    f"On matt white {name} paper, at 100 %, in black only. Measure the ruler with a steel rule.",
                    "For the picture by infrared use a printer with toner: the carbon in it stays black in infrared, "
                    "while the dye inks of many ink-jet printers fade to paper white (common practice). "
                    "If the squares are missing in the night picture, that is why.",
                    "Glue it flat on stiff board. A sheet that waves spoils its edges.",
                ],
            },
            {
                "head": "Photograph it",
                "numbered": True,
                "items": [
                    "Hang it straight before the camera, level to within 4 degrees, near the middle of the picture, "
                    "facing the lens. The squares themselves are meant to lean.",
                    "Measure the distance from the lens to the sheet with a tape, to the centimetre. Choose it from "
                    "the table below: the nearer, the surer; not nearer than the camera focuses (often 1.5 to 2 m, "
                    "see its manual), and once more at the distance where your animals pass.",
                    "By day in even light without sun on the sheet, then at night with the camera’s own flash. White "
                    "paper near the flash burns out: if Trod says so, go farther off or hang the sheet a little turned.",
                    "Step out of the picture and let the camera take at least three. Use the files as they come from "
                    "the card; an app or a message service makes them smaller.",
                ],
            },
            {
                "head": "Take care",
                "numbered": False,
                "items": [
                    "Do it at home before the camera goes out, where you can. It needs no ladder there.",
                    "Not on or beside a road: a sheet on a post draws drivers’ eyes, and you would stand in their way.",
                    "A camera that hangs high stays where it is: take it down to test it, rather than climbing with a "
                    "board in the hand. For ladders keep to your own rules and to the caution in Trod.",
                    "Do not look into the flash from near. Take the sheet home with you: wind, litter, curious cattle.",
                ],
            },
        ],
        "table_title": "How far off the sheet may hang",
        "table_head": ["Columns of the saved picture", *[f"view {view:.0f}°" for view in _TABLE_VIEWS_DEG]],
        "table_rows": [
            [
                f"{columns}",
                *[f"{farthest_m(columns=columns, fov_deg=view, scale=sheet.scale):.1f} m" for view in _TABLE_VIEWS_DEG],
            ]
            for columns in _TABLE_COLUMNS_PX
        ],
        "table_note": (
            f"At these distances each square is {GOOD_SIDE_PX:.0f} pixels wide, which measures well. Up to "
            f"{GOOD_SIDE_PX / LEAST_SIDE_PX:.1f} times as far it still goes, less surely. Columns are those that the "
            "camera’s sensor has, as far as you know them: a picture that was enlarged needs the sheet nearer than its "
            "size says."
        ),
    }
