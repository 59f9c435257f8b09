"""Words that no sentence for a person should hold, and odd but allowed inputs that bring them out."""

from __future__ import annotations

import random
import re
from typing import Any

from trod.planning.catch.animals import ANIMALS
from trod.planning.equipment import camera
from trod.planning.place import inputs

NONSENSE = {
    "not a number": r"\bnan\b",
    "infinity": r"\binf(inity)?\b",
    "nothing, as Python says it": r"\bNone\b",
    "minus nought": r"(?<![\w.])-0(?!\.?\d)",
    "powers of ten": r"\d[eE][+-]?\d+",
    "a length of nought": r"(?<![\d.,/])0(\.0+)? (m|ft|in|mm|cm|px|pixels|GB|hours|days)\b(?! (100|a) )",
    "a direction twice round": r"360°",
    "a distance that is none": r"about beyond|beyond sight on",
    "one of many": r"(?<![\d.,])1 (hours|animals|months|pictures|days|triggers|times|cells|frames)\b",
    "braces": r"[{}]",
    "more digits than are known": r"\d\.\d{5,}",
}


def nonsense(text: str) -> list[str]:
    """What is wrong with a text, each with what stands around it."""
    return [
        f"{what}: …{text[max(0, found.start() - 60) : found.end() + 30]}…"
        for what, pattern in NONSENSE.items()
        for found in re.finditer(pattern, text)
    ]


def odd_inputs(rng: random.Random) -> dict[str, Any]:
    """Some inputs, often at the very end of what is accepted, that can stand together."""
    found: dict[str, Any] = {}
    for key, limit in inputs.LIMITS.items():
        if rng.random() < 0.25:
            ends = (limit.least, limit.most, rng.uniform(limit.least, limit.most), rng.uniform(limit.low, limit.high))
            value = rng.choice(ends)
            found[key] = int(value) if limit.whole else round(value, 3)
    found |= {key: rng.choice(words) for key, words in inputs.WORDS.items() if rng.random() < 0.5}
    if rng.random() < 0.3:
        found["months"] = sorted(rng.sample(range(1, 13), rng.randint(1, 12)))
    if rng.random() < 0.3:
        found["snow_m"] = [rng.choice((0.0, 0.1, 1.0, 20.0)) for _ in range(12)]
    if rng.random() < 0.2:
        found["horizon"] = rng.choice(("90 12, 120 18", "0 0", "0 89, 180 45"))
    if "speed_mps" in found:
        found.pop("pace", None)
    near, far = found.pop("patch_near_m", None), found.pop("patch_far_m", None)
    if near is not None and far is not None and near != far:
        found["patch_near_m"], found["patch_far_m"] = min(near, far), max(near, far)
    if any(key in found for key in inputs.TREE_INPUTS):
        found.setdefault("tree_diameter_cm", 20.0)
    if any(key in found for key in inputs.BRANCH_INPUTS):
        found.setdefault("branch_height_m", 2.0)
    if found.get("air_cold_c", -60) > found.get("air_warm_c", 60):
        found["air_cold_c"], found["air_warm_c"] = found["air_warm_c"], found["air_cold_c"]
    return found


def odd_camera(rng: random.Random) -> camera.CameraSpec:
    """A camera with some figures at the ends of what is accepted, and a picture that a lens can make."""
    found: dict[str, float] = {}
    for key, (low, high, _) in camera.LIMITS.items():
        if rng.random() < 0.3:
            value = rng.choice((low, high, rng.uniform(low, high)))
            found[key] = int(value) if key in camera.WHOLE else value
    found.pop("columns", None)
    found.pop("rows", None)
    if "fov_deg" in found:
        found["fov_deg"] = min(max(found["fov_deg"], 2.0), 165.0)
    flash = rng.choice(("none", "white", "low glow", "no glow"))
    return camera.CameraSpec(maker="Odd", model="One", flash=flash).with_measured(**found)  # type: ignore[arg-type]


def odd_animal(rng: random.Random) -> str:
    """Any animal's key."""
    return rng.choice(ANIMALS).key
