"""Four-footed animals posed: legs, neck, markings, antlers by the season."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from trod_demo.bodies import Actor, Body, Colour, Limb, dim, reach, sized
from trod_demo.builds import BUILDS


def coat_season(month: int) -> str:
    """Which coat a month shows: winter from October to April (round, ours)."""
    return "winter" if month >= 10 or month <= 4 else "summer"


def antler_state(kind: str, *, month: int, sex: str, life_stage: str) -> float:
    """Share of a full head of antlers a male carries, 0 when none.

    Round months from memory: red deer cast in about March and are hard again by August; roe cast in about
    November and are hard by April.
    """
    if sex != "male" or life_stage == "juvenile" or kind not in ("red_deer", "roe_deer"):
        return 0.0
    grown = (
        (1, 1, 0.7, 0.08, 0.35, 0.65, 0.95, 1, 1, 1, 1, 1)
        if kind == "red_deer"
        else (0.5, 0.75, 0.95, 1, 1, 1, 1, 1, 1, 0.9, 0.1, 0.2)
    )[month - 1]
    return grown * (0.45 if life_stage == "subadult" else 1.0)


_STRIDE = {
    # pose: (offsets of hind left, fore left, hind right, fore right; swing share; half stride; lift)
    "walk": ((0.0, 0.22, 0.5, 0.72), 0.36, 0.27, 0.10),
    "trot": ((0.0, 0.5, 0.5, 0.0), 0.50, 0.34, 0.17),
    "run": ((0.0, 0.52, 0.10, 0.62), 0.66, 0.52, 0.26),
}


def _foot(pose: str, phase: float, leg: int, *, variant: int) -> tuple[float, float]:
    """Offset of a foot from below its joint, forward and up, in shoulder heights."""
    if pose not in _STRIDE:
        still = math.sin(variant * 2.3 + leg * 1.7) * 0.055
        return (still + (0.045 if leg in (0, 1) else -0.03), 0.0)
    offsets, swing, half, lift = _STRIDE[pose]
    p = (phase + offsets[leg]) % 1.0
    stance = 1 - swing
    if p < stance:
        return half * (1 - 2 * p / stance), 0.0
    q = (p - stance) / swing
    return half * (2 * (0.5 - 0.5 * math.cos(math.pi * q)) - 1), lift * math.sin(math.pi * q)


def quadruped(actor: Actor) -> Body:
    """A four-footed animal in its pose, with the coat and head of its month, sex and age."""
    b = BUILDS[actor.kind]
    pose = actor.pose if actor.pose in ("walk", "trot", "run", "feed", "alert") else "alert"
    back, belly, leg_c, head_c, tail_c = b.coat[coat_season(actor.month)]
    tint = 1 + 0.07 * math.sin(actor.variant * 12.9)
    if actor.kind == "red_deer" and actor.sex == "male" and actor.life_stage == "adult":
        tint *= 0.92
    young = actor.life_stage == "juvenile"
    stripes = b.stripes
    if young and actor.kind == "wild_boar" and 4 <= actor.month <= 9:
        back, belly, leg_c, head_c, tail_c = (
            (150, 106, 66),
            (156, 120, 84),
            (110, 82, 58),
            (134, 98, 66),
            (120, 90, 60),
        )
        stripes = "piglet"
    if young and actor.kind in ("red_deer", "roe_deer") and 5 <= actor.month <= 8:
        stripes = "fawn"
    back, belly, leg_c, head_c, tail_c = (dim(c, tint) for c in (back, belly, leg_c, head_c, tail_c))
    u = actor.shoulder_m
    limbs: list[Limb] = []
    # The trunk moves a little with the stride; a run folds and stretches it.
    sway = 0.0 if pose not in _STRIDE else 0.012 * math.sin(4 * math.pi * actor.phase)
    arch = 0.06 * math.sin(2 * math.pi * actor.phase) if pose == "run" else 0.0
    hop = 0.10 * max(0.0, math.sin(2 * math.pi * (actor.phase + 0.15))) if pose == "run" else 0.0
    still = pose in ("feed", "alert")
    top_fix = 1.0 - (b.spine[b.withers][1] + b.spine[b.withers][2])
    spine = [
        (x, y + top_fix + hop + (sway if not still else 0) + arch * (1 - (x / 0.5) ** 2) * 0.5, r) for x, y, r in b.spine
    ]
    if actor.kind == "brown_hare" and still:
        spine = [(x * 0.86, y - 0.07, r) for x, y, r in spine]
    neckless = 0.92 if young else 1.0
    for (x0, y0, r0), (x1, y1, r1) in pairwise(spine):
        limbs.append(Limb((x0, y0, 0), (x1, y1, 0), r0 * neckless, r1 * neckless, back, wide=b.width, group=1))
    # A belly of its own tone under the trunk, kept inside its outline.
    for (x0, y0, r0), (x1, y1, r1) in pairwise(spine[1:5]):
        limbs.append(
            Limb(
                (x0, y0 - r0 * 0.40, 0),
                (x1, y1 - r1 * 0.40, 0),
                r0 * 0.55,
                r1 * 0.55,
                belly,
                wide=b.width * 1.3,
                group=2,
                round=0.35,
                order=0.06,
            )
        )
    rump_x, rump_y, rump_r = spine[0]
    if b.rump is not None:
        c = b.rump
        limbs.append(
            Limb(
                (rump_x - 0.045, rump_y + 0.02, 0),
                (rump_x - 0.03, rump_y - 0.10, 0),
                rump_r * 0.60,
                rump_r * 0.52,
                dim(c, tint),
                wide=0.72,
                group=3,
                round=0.4,
                order=0.05,
            )
        )
    hip_y, sho_y = b.hip[1] + top_fix + hop, b.shoulder[1] + top_fix + hop
    for leg in range(4):
        hind, left = leg % 2 == 0, leg < 2
        w = b.track if left else -b.track
        fx, fy = _foot(pose, actor.phase, leg, variant=actor.variant)
        short = 1.0
        if hind:
            top = (b.hip[0], hip_y)
            foot = (b.hip[0] - 0.04 + fx, fy + b.hoof_r)
            lean = 0.30 + 0.55 * (fy / 0.2 if fy > 0 else 0) - 0.35 * fx
            hock = (foot[0] - b.hind_cannon * math.sin(lean), foot[1] + b.hind_cannon * math.cos(lean))
            span = (top[1] - hock[1]) * 0.56 + 0.03
            knee = reach(top, hock, span, span * 1.02, +1)
            limbs += [
                Limb(
                    (*top, w * 0.8),
                    (*knee, w),
                    b.thigh_r,
                    b.leg_r * 1.55,
                    back,
                    wide=0.62,
                    group=4 + leg,
                ),
                Limb((*knee, w), (*hock, w), b.leg_r * 1.5, b.leg_r * 0.85, leg_c, wide=0.8, group=4 + leg),
                Limb((*hock, w), (*foot, w), b.leg_r * 0.80, b.hoof_r * 1.05, leg_c, group=4 + leg),
                Limb(
                    (foot[0], foot[1], w),
                    (foot[0] + b.hoof_r * 1.1, foot[1] - b.hoof_r * 0.30, w),
                    b.hoof_r,
                    b.hoof_r * 0.70,
                    dim(leg_c, 0.6),
                    group=4 + leg,
                ),
            ]
        else:
            top = (b.shoulder[0], sho_y)
            foot = (b.shoulder[0] + 0.01 + fx, fy + b.hoof_r)
            upper = (top[1] - 0.02) * 0.52 * short
            knee = reach(top, foot, upper, upper * 0.98, -1 if pose in ("feed", "alert") and fx == 0 else +1)
            limbs += [
                Limb(
                    (top[0] - 0.01, top[1] + 0.06, w * 0.75),
                    (*knee, w),
                    b.thigh_r * 0.80,
                    b.leg_r * 0.92,
                    back,
                    wide=0.6,
                    group=4 + leg,
                ),
                Limb((*knee, w), (*foot, w), b.leg_r * 0.88, b.hoof_r * 1.05, leg_c, group=4 + leg),
                Limb(
                    (foot[0], foot[1], w),
                    (foot[0] + b.hoof_r * 1.1, foot[1] - b.hoof_r * 0.30, w),
                    b.hoof_r,
                    b.hoof_r * 0.70,
                    dim(leg_c, 0.6),
                    group=4 + leg,
                ),
            ]
    # Neck and head.
    chest_x, chest_y, _ = spine[-1]
    up = b.neck_up.get(pose, b.neck_up["walk"])
    if pose == "trot":
        up = b.neck_up["walk"]
    nod = 0.02 * math.sin(4 * math.pi * actor.phase) if pose in _STRIDE else 0.05 * math.sin(2 * math.pi * actor.phase)
    hx, hy = chest_x + up[0], chest_y + up[1] + nod
    if pose == "feed":
        hy = max(hy, b.head[1] * 0.75 + 0.02)
    turn = 0.0
    if pose == "alert":
        turn = 0.32 * math.sin(actor.variant * 1.9) * b.head[1]
    n0, n1 = b.neck
    maned = (
        1.25
        if actor.kind == "red_deer" and actor.sex == "male" and actor.life_stage == "adult" and actor.month >= 8
        else 1.0
    )
    base = (spine[-2][0] + 0.04, spine[-2][1] + 0.05 * (1 if up[1] > 0 else 0), 0.0)
    middle = ((base[0] + hx) / 2 + 0.02, (base[1] + hy) / 2 - 0.02 * (1 if up[1] > 0 else -1), 0.0)
    neck_c = dim(head_c, 0.92 if maned > 1 else 1.0) if maned > 1 else back
    limbs += [
        Limb(base, middle, n0 * maned, (n0 + n1) / 2 * maned, neck_c, wide=0.62, group=9, order=0.02),
        Limb(
            middle,
            (hx, hy, 0),
            (n0 + n1) / 2 * maned,
            n1 * (1 + (maned - 1) * 0.5),
            neck_c,
            wide=0.66,
            group=9,
            order=0.02,
        ),
    ]
    if b.throat is not None:
        limbs.append(
            Limb(
                (chest_x + 0.02, chest_y - 0.05, 0),
                ((chest_x + hx) / 2 + 0.05, (chest_y + hy) / 2 - 0.06, 0),
                n0 * 0.55,
                n1 * 0.62,
                b.throat,
                wide=0.7,
                group=10,
                order=0.13,
                round=0.4,
            )
        )
    skull, muzzle, muzzle_r, droop = b.head
    big = 1.22 if young else 1.0
    skull, muzzle, muzzle_r = skull * big, muzzle * (0.92 if young else 1.0), muzzle_r * big
    pitch = droop + (1.05 if pose == "feed" else 0.0) - (0.1 if pose == "alert" else 0.0)
    if actor.kind == "wild_boar" and pose == "feed":
        pitch = 0.85
    nose = (hx + muzzle * math.cos(pitch), hy - muzzle * math.sin(pitch), turn)
    if nose[1] < muzzle_r:
        nose = (nose[0], muzzle_r, nose[2])
    limbs += [
        Limb(
            (hx, hy, 0),
            (hx + (nose[0] - hx) * 0.45, hy + (nose[1] - hy) * 0.45, turn * 0.45),
            skull,
            (skull + muzzle_r) / 2 * 0.98,
            head_c,
            wide=0.72,
            group=11,
            order=0.16,
        ),
        Limb(
            (hx + (nose[0] - hx) * 0.40, hy + (nose[1] - hy) * 0.40, turn * 0.4),
            nose,
            (skull + muzzle_r) / 2,
            muzzle_r,
            head_c,
            wide=0.72,
            group=11,
            order=0.16,
        ),
    ]
    if b.muzzle_tint is not None:
        k = 0.92
        limbs.append(
            Limb(
                (hx + (nose[0] - hx) * k, hy + (nose[1] - hy) * k, turn * k),
                (nose[0], nose[1] + muzzle_r * 0.25, turn),
                muzzle_r * 0.72,
                muzzle_r * 0.58,
                b.muzzle_tint,
                wide=0.8,
                group=12,
                order=0.20,
            )
        )
    if stripes == "badger":
        for side in (-1, 1):
            w = side * skull * 0.42
            limbs.append(
                Limb(
                    (hx - skull * 0.5, hy + skull * 0.42, w),
                    (hx + (nose[0] - hx) * 0.8, hy + (nose[1] - hy) * 0.8 + muzzle_r * 0.6, w * 0.3),
                    skull * 0.32,
                    muzzle_r * 0.5,
                    (26, 24, 24),
                    wide=0.8,
                    group=12,
                    order=0.20,
                )
            )
    if actor.kind == "lynx":
        for side in (-1, 1):
            limbs.append(
                Limb(
                    (hx + 0.03, hy - 0.09, side * 0.08),
                    (hx + 0.0, hy - 0.20, side * 0.10),
                    0.055,
                    0.018,
                    (206, 192, 166),
                    group=12,
                    order=0.18,
                )
            )
    for side in (-1, 1):  # the eye itself, dark by day
        e = (
            hx + (nose[0] - hx) * 0.24,
            hy + (nose[1] - hy) * 0.24 + skull * 0.28,
            side * skull * 0.66 + turn * 0.24,
        )
        r = max(0.016, skull * 0.14)
        limbs.append(
            Limb(
                e,
                (e[0] + r * 0.5, e[1], e[2]),
                r,
                r * 0.8,
                (18, 14, 12),
                group=20 + side,
                order=0.17,
                round=0.0,
            )
        )
    if actor.kind in ("red_fox", "grey_wolf"):  # pale cheeks
        for side in (-1, 1):
            limbs.append(
                Limb(
                    (hx + 0.02, hy - skull * 0.45, side * skull * 0.45),
                    (
                        hx + (nose[0] - hx) * 0.75,
                        hy + (nose[1] - hy) * 0.75 - muzzle_r * 0.6,
                        side * muzzle_r * 0.4,
                    ),
                    skull * 0.42,
                    muzzle_r * 0.55,
                    b.throat or head_c,
                    group=22 + side,
                    order=0.165,
                    round=0.2,
                )
            )
    ear_l, ear_r, ear_lean = b.ear
    ear_l *= 1.1 if young else 1.0
    if pose == "run" and actor.kind == "brown_hare":
        ear_lean = -1.1
    for side in (-1, 1):
        root = (hx - skull * 0.35, hy + skull * 0.62, side * skull * 0.52)
        spread = {"red_deer": 0.55, "roe_deer": 0.50}.get(actor.kind, 0.22)
        tip = (
            root[0] + ear_l * math.sin(ear_lean),
            root[1] + ear_l * math.cos(ear_lean),
            root[2] + side * ear_l * spread,
        )
        half = tuple((root[i] * 0.45 + tip[i] * 0.55) for i in range(3))
        mid = (half[0], half[1], half[2])
        limbs += [
            Limb(
                root,
                mid,
                ear_r * 0.85,
                ear_r,
                head_c if stripes != "badger" else (40, 36, 34),
                wide=0.8,
                group=13,
                order=0.15,
                tone=0.9,
            ),
            Limb(mid, tip, ear_r, ear_r * 0.28, b.ear_tip or head_c, wide=0.8, group=13, order=0.15, tone=0.9),
        ]
        if actor.kind == "lynx":
            limbs.append(
                Limb(
                    tip,
                    (tip[0] - 0.01, tip[1] + 0.075, tip[2]),
                    0.014,
                    0.008,
                    (24, 22, 22),
                    group=13,
                    order=0.15,
                )
            )
    if actor.kind == "wild_boar" and not stripes:
        # Bristles along the back, and tusks on an old male.
        winter = coat_season(actor.month) == "winter"
        for k in range(26):
            x = -0.30 + k * 0.040
            y = float(np.interp(x, [s[0] for s in spine], [s[1] + s[2] for s in spine]))
            tall = (0.052 if winter else 0.028) * (0.7 + 0.3 * math.sin(k * 2.4))
            limbs.append(
                Limb(
                    (x, y - 0.02, 0),
                    (x - 0.03, y + tall, 0),
                    0.022,
                    0.006,
                    dim(back, 0.8),
                    group=3,
                    order=0.02,
                )
            )
        if actor.sex == "male" and actor.life_stage == "adult":
            t = (hx + (nose[0] - hx) * 0.78, hy + (nose[1] - hy) * 0.78 - muzzle_r * 0.2, 0.06)
            limbs.append(Limb(t, (t[0] + 0.02, t[1] + 0.075, 0.07), 0.016, 0.006, (224, 214, 190), group=12, order=0.22))
    horns = antler_state(actor.kind, month=actor.month, sex=actor.sex, life_stage=actor.life_stage)
    if horns > 0:
        velvet = (actor.kind == "red_deer" and 4 <= actor.month <= 7) or (
            actor.kind == "roe_deer" and actor.month in (12, 1, 2)
        )
        limbs += _antlers(actor.kind, hx - skull * 0.2, hy + skull * 0.75, horns, velvet=velvet)
    limbs += _markings(stripes, spine, b.width, actor.variant)
    # Tail.
    tail_lift = (
        {"run": 0.35, "trot": 0.12}.get(pose, 0.0) if actor.kind in ("red_fox", "grey_wolf", "pine_marten") else 0.0
    )
    prev = (rump_x - rump_r * 0.55, rump_y + rump_r * 0.35, 0.0)
    prev_r = b.tail[0][2]
    swing_w = 0.06 * math.sin(2 * math.pi * actor.phase + 1)
    for k, (dx, dy, r) in enumerate(b.tail):
        point = (rump_x - rump_r * 0.55 + dx, rump_y + rump_r * 0.35 + dy - tail_lift * dx, swing_w * k)
        last = k == len(b.tail) - 1
        colour = b.tail_tip if last and b.tail_tip is not None else tail_c
        limbs.append(Limb(prev, point, prev_r, r, colour, group=14, order=-0.02))
        prev, prev_r = point, r
    eyes = tuple(
        (
            hx + (nose[0] - hx) * 0.28,
            hy + (nose[1] - hy) * 0.28 + skull * 0.30,
            side * skull * 0.62 + turn * 0.28,
        )
        for side in (-1, 1)
    )
    wx, wy, wr = spine[b.withers]
    return sized(Body(tuple(limbs), eyes, (wx, wy + wr, 0.0), b.hair, b.shine, stripes), u, actor.lift_m)


def _markings(kind: str, spine: list[tuple[float, float, float]], width: float, variant: int) -> list[Limb]:
    """Spots of a lynx or a fawn and the long stripes of a piglet, on both flanks."""
    out: list[Limb] = []
    xs, ys, rs = ([s[i] for s in spine] for i in range(3))

    def flank(x: float, up: float, side: int) -> tuple[float, float, float]:
        y, r = float(np.interp(x, xs, ys)), float(np.interp(x, xs, rs))
        return x, y + r * up, side * r * width * math.sqrt(max(0.0, 1 - up * up)) * 1.02

    if kind == "piglet":
        for side in (-1, 1):
            for up in (0.62, 0.25, -0.12):
                points = [flank(x, up, side) for x in np.linspace(xs[1], xs[-2], 5)]
                for p, q in pairwise(points):
                    out.append(Limb(p, q, 0.032, 0.032, (214, 184, 138), group=16 + side, order=0.01, round=0.1))
    elif kind in ("spots", "fawn"):
        rng = np.random.default_rng(variant + 5)
        colour: Colour = (74, 54, 40) if kind == "spots" else (236, 224, 200)
        size = 0.022 if kind == "spots" else 0.026
        for side in (-1, 1):
            for _ in range(46 if kind == "spots" else 30):
                x = float(rng.uniform(xs[0] + 0.05, xs[-1] - 0.02))
                up = float(rng.uniform(-0.55 if kind == "spots" else -0.05, 0.85))
                p = flank(x, up, side)
                out.append(
                    Limb(
                        p,
                        (p[0] + size * 0.8, p[1], p[2]),
                        size,
                        size * 0.8,
                        colour,
                        group=16 + side,
                        order=0.01,
                        round=0.0,
                    )
                )
    return out


def _antlers(kind: str, x: float, y: float, grown: float, *, velvet: bool) -> list[Limb]:
    bone: Colour = (116, 92, 70) if velvet else (150, 128, 98)
    r = 0.026 if velvet else 0.018
    out: list[Limb] = []
    for side in (-1, 1):
        if kind == "roe_deer":
            g = 0.30 * grown
            a, b, c = (
                (x, y, side * 0.04),
                (x + 0.01, y + g * 0.6, side * 0.075),
                (x - 0.03, y + g, side * 0.085),
            )
            out += [
                Limb(a, b, r * 1.3, r, bone, group=15, order=0.18),
                Limb(b, c, r, r * 0.5, bone, group=15, order=0.18),
            ]
            if grown > 0.6:
                out.append(
                    Limb(
                        b,
                        (x + 0.075, y + g * 0.78, side * 0.08),
                        r * 0.8,
                        r * 0.4,
                        bone,
                        group=15,
                        order=0.18,
                    )
                )
                out.append(
                    Limb(
                        (x - 0.01, y + g * 0.8, side * 0.08),
                        (x - 0.085, y + g * 0.86, side * 0.10),
                        r * 0.7,
                        r * 0.35,
                        bone,
                        group=15,
                        order=0.18,
                    )
                )
            continue
        g = grown * 0.78
        beam = [
            (x, y, side * 0.05),
            (x - 0.09 * g / 0.78, y + 0.22 * g, side * 0.17),
            (x - 0.16 * g / 0.78, y + 0.50 * g, side * 0.27),
            (x - 0.10 * g / 0.78, y + 0.78 * g, side * 0.29),
            (x - 0.0, y + 1.0 * g, side * 0.24),
        ]
        for i, (p, q) in enumerate(pairwise(beam)):
            out.append(Limb(p, q, r * (1.5 - 0.25 * i), r * (1.3 - 0.25 * i), bone, group=15, order=0.18))
        if grown > 0.3:
            for i, (dx, dy, dw) in (
                (0, (0.20, 0.13, 0.06)),
                (1, (0.19, 0.13, 0.06)),
                (2, (0.17, 0.14, 0.04)),
                (3, (-0.10, 0.16, 0.04)),
            ):
                p = beam[i] if i else (beam[0][0], beam[0][1] + 0.03, beam[0][2])
                k = min(1.0, grown)
                mid = (p[0] + dx * 0.6 * k, p[1] + dy * 0.25 * k, p[2] + side * dw * 0.6)
                out += [
                    Limb(p, mid, r, r * 0.85, bone, group=15, order=0.18),
                    Limb(
                        mid,
                        (p[0] + dx * k, p[1] + dy * k, p[2] + side * dw),
                        r * 0.85,
                        r * 0.4,
                        bone,
                        group=15,
                        order=0.18,
                    ),
                ]
    return out
