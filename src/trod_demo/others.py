"""What is not four-footed, posed: a bird, a person, a vehicle."""

from __future__ import annotations

import math

from trod_demo.bodies import Actor, Body, Colour, Limb, dim, reach, sized


def jay(actor: Actor) -> Body:
    """A jay, sitting, pecking or flying."""
    pink: Colour = (184, 142, 122)
    black: Colour = (30, 28, 32)
    limbs: list[Limb] = []
    flying = actor.pose in ("fly", "run", "trot")
    y0 = 0.62 if not flying else 0.60
    pitch = 0.45 if not flying else 0.08
    bob = 0.04 * math.sin(2 * math.pi * actor.phase)
    down = actor.pose == "feed"
    if down:
        pitch = -0.25
    c, s = math.cos(pitch), math.sin(pitch)

    def at(x: float, y: float, w: float = 0.0) -> tuple[float, float, float]:
        return (x * c - y * s, y0 + bob + x * s + y * c, w)

    limbs += [
        Limb(at(-0.45, 0.02), at(-1.05, 0.0), 0.14, 0.10, black, wide=0.8, group=14, order=-0.02),
        Limb(at(-0.50, 0.05), at(-0.30, 0.05), 0.17, 0.22, (236, 232, 226), group=3),
        Limb(at(-0.34, 0.0), at(0.05, 0.0), 0.24, 0.31, pink, group=1),
        Limb(at(0.05, 0.0), at(0.34, 0.12), 0.31, 0.24, pink, group=1),
        Limb(at(0.30, 0.16), at(0.50, 0.30), 0.22, 0.205, pink, group=9, order=0.03),
        Limb(at(0.52, 0.33), at(0.56, 0.33), 0.205, 0.17, pink, group=11, order=0.05),
        Limb(at(0.66, 0.32), at(0.94, 0.27), 0.085, 0.02, black, group=12, order=0.06),
        Limb(at(0.64, 0.23), at(0.56, 0.13), 0.055, 0.06, black, group=12, order=0.055),
    ]
    for side in (-1, 1):
        if flying:
            beat = math.sin(2 * math.pi * actor.phase) * 0.9
            w0, w1 = side * 0.25, side * 1.25
            limbs += [
                Limb(
                    at(0.15, 0.12, w0),
                    at(0.05, 0.12 + beat * 0.55, w0 + side * 0.55),
                    0.16,
                    0.17,
                    pink,
                    group=6,
                    order=0.02,
                ),
                Limb(
                    at(0.15, 0.14 + beat * 0.3, w0 + side * 0.3),
                    at(0.12, 0.14 + beat * 0.55, w0 + side * 0.6),
                    0.06,
                    0.06,
                    (92, 150, 210),
                    group=7,
                    order=0.03,
                ),
                Limb(
                    at(0.02, 0.12 + beat * 0.55, w0 + side * 0.55),
                    at(-0.12, 0.12 + beat, w1),
                    0.17,
                    0.06,
                    black,
                    group=6,
                    order=0.02,
                ),
            ]
        else:
            limbs += [
                Limb(
                    at(0.22, 0.10, side * 0.2),
                    at(-0.28, 0.04, side * 0.22),
                    0.17,
                    0.14,
                    (166, 128, 112),
                    wide=0.4,
                    group=6,
                    order=0.02,
                ),
                Limb(
                    at(-0.05, -0.01, side * 0.24),
                    at(-0.62, 0.02, side * 0.16),
                    0.12,
                    0.06,
                    black,
                    wide=0.4,
                    group=7,
                    order=0.03,
                ),
                Limb(
                    at(0.20, -0.03, side * 0.26),
                    at(0.02, -0.05, side * 0.26),
                    0.075,
                    0.07,
                    (96, 156, 216),
                    wide=0.4,
                    group=8,
                    order=0.04,
                ),
            ]
            step = (
                0.10 * math.sin(2 * math.pi * actor.phase + (0 if side > 0 else math.pi))
                if actor.pose == "walk"
                else 0.0
            )
            limbs += [
                Limb(
                    (0.02, 0.40, side * 0.12),
                    (-0.05 + step, 0.20, side * 0.13),
                    0.06,
                    0.030,
                    (120, 90, 76),
                    group=4,
                    order=-0.03,
                ),
                Limb(
                    (-0.05 + step, 0.20, side * 0.13),
                    (0.06 + step, 0.025, side * 0.13),
                    0.028,
                    0.025,
                    (120, 90, 76),
                    group=4,
                    order=-0.03,
                ),
            ]
    top = 0.0
    eye = at(0.60, 0.37)
    lift = actor.lift_m if actor.lift_m > 0 else (0.5 if flying else 0.0)
    return sized(
        Body(
            tuple(limbs),
            ((eye[0], eye[1], 0.18), (eye[0], eye[1], -0.18)),
            (0.1, 1.0 + top, 0.0),
            0.05,
            (230, 230, 230),
        ),
        actor.shoulder_m,
        lift,
    )


_JACKETS: tuple[Colour, ...] = ((74, 86, 56), (150, 62, 44), (58, 74, 98), (96, 88, 72))


def person(actor: Actor) -> Body:
    """A person, walking or standing, in one of a few jackets."""
    jacket = _JACKETS[actor.variant % 4]
    trousers: Colour = ((62, 60, 58), (84, 76, 60), (52, 58, 70), (70, 62, 50))[(actor.variant // 4) % 4]
    skin: Colour = (206, 164, 136)
    limbs: list[Limb] = []
    p = 2 * math.pi * actor.phase
    walking = actor.pose in ("walk", "trot", "run")
    lean = 0.03 if walking else 0.0
    reaching = actor.pose == "feed"  # bent over the camera, hands forward
    hip = (0.0, 0.50)
    for side in (-1, 1):
        swing = math.sin(p + (0 if side > 0 else math.pi)) if walking else 0.15 * side
        foot = (
            0.16 * swing if walking else 0.03 * side,
            0.035 + (0.05 * max(0.0, math.cos(p + (0 if side > 0 else math.pi))) if walking else 0.0),
        )
        knee = reach(hip, foot, 0.245, 0.245, +1)
        w = side * 0.052
        limbs += [
            Limb((*hip, w), (*knee, w), 0.060, 0.042, trousers, group=4 + side),
            Limb((*knee, w), (foot[0], foot[1] + 0.02, w), 0.042, 0.030, trousers, group=4 + side),
            Limb(
                (foot[0] - 0.01, 0.022 + foot[1] - 0.035, w),
                (foot[0] + 0.075, 0.018 + foot[1] - 0.035, w),
                0.024,
                0.018,
                (48, 38, 30),
                group=4 + side,
            ),
        ]
    top = (0.02 + lean, 0.80)
    limbs += [
        Limb((hip[0], hip[1] + 0.01, 0), (top[0] - 0.01, 0.66, 0), 0.082, 0.088, jacket, wide=1.2, group=1),
        Limb((top[0] - 0.01, 0.66, 0), (*top, 0), 0.088, 0.066, jacket, wide=1.45, group=1),
    ]
    if actor.variant % 2:
        limbs.append(
            Limb(
                (-0.085 + lean, 0.78, 0),
                (-0.10, 0.60, 0),
                0.055,
                0.075,
                (88, 66, 44),
                wide=1.5,
                group=3,
                order=-0.02,
            )
        )
    for side in (-1, 1):
        swing = -math.sin(p + (0 if side > 0 else math.pi)) if walking else 0.0
        shoulder = (top[0], 0.80, side * 0.115)
        hand = (0.02 + 0.15 * swing, 0.47, side * 0.15) if not reaching else (0.27, 0.68, side * 0.07)
        elbow = (
            (shoulder[0] + hand[0]) / 2 - 0.03,
            (shoulder[1] + hand[1]) / 2 - (0.05 if reaching else 0.0),
            side * 0.145,
        )
        limbs += [
            Limb(shoulder, elbow, 0.042, 0.034, jacket, group=7 + side, order=0.02 * side),
            Limb(elbow, hand, 0.034, 0.024, jacket, group=7 + side, order=0.02 * side),
            Limb(
                hand,
                (hand[0] + 0.015, hand[1] - 0.03, hand[2]),
                0.022,
                0.018,
                skin,
                group=7 + side,
                order=0.02 * side,
            ),
        ]
    hat: Colour = ((70, 66, 50), (60, 46, 38), (40, 52, 70))[actor.variant % 3]
    limbs += [
        Limb((top[0], 0.84, 0), (top[0] + 0.01, 0.88, 0), 0.034, 0.034, skin, group=9),
        Limb(
            (top[0] + 0.015, 0.915, 0),
            (top[0] + 0.02, 0.945, 0),
            0.050,
            0.050,
            skin,
            wide=0.85,
            group=11,
            order=0.02,
        ),
        Limb((top[0] + 0.005, 0.955, 0), (top[0] + 0.01, 0.962, 0), 0.052, 0.040, hat, group=12, order=0.03),
        Limb(
            (top[0] - 0.045, 0.948, 0),
            (top[0] + 0.085, 0.945, 0),
            0.013,
            0.010,
            hat,
            wide=4.0,
            group=12,
            order=0.03,
        ),
    ]
    eyes = ((top[0] + 0.06, 0.93, 0.02), (top[0] + 0.06, 0.93, -0.02))
    return sized(Body(tuple(limbs), eyes, (0.0, 1.0, 0.0), 0.03, (120, 120, 120)), actor.shoulder_m, 0.0)


def vehicle(actor: Actor) -> Body:
    """A small forestry four-by-four, 4.2 m long; its roof is the unit height."""
    paint: Colour = ((88, 100, 80), (150, 146, 138), (118, 66, 54))[actor.variant % 3]
    glass: Colour = (44, 52, 56)
    dark: Colour = (34, 34, 34)
    limbs: list[Limb] = []

    def box(
        x0: float,
        x1: float,
        y0: float,
        y1: float,
        half: float,
        shade: Colour,
        group: int,
        order: float = 0.0,
        w: float = 0.0,
        front: tuple[float, float] | None = None,
    ) -> None:
        """A box from x0 to x1; `front` gives other y's for its front end."""
        f0, f1 = front or (y0, y1)
        r = (y1 - y0) / 2
        limbs.append(
            Limb(
                (x0, (y0 + y1) / 2, w),
                (x1, (f0 + f1) / 2, w),
                r,
                max((f1 - f0) / 2, 0.004),
                shade,
                wide=half / r,
                group=group,
                order=order,
                round=0.0,
                square=True,
            )
        )

    box(-1.13, 1.13, 0.22, 0.56, 0.44, paint, 1)
    box(-1.13, 1.15, 0.20, 0.27, 0.45, dark, 2, 0.005)
    box(0.50, 1.12, 0.56, 0.62, 0.41, dim(paint, 1.12), 3, 0.01, front=(0.56, 0.59))
    box(-1.12, 0.40, 0.56, 0.97, 0.40, dim(paint, 0.94), 4, 0.01)
    box(-1.08, 0.36, 0.965, 1.0, 0.39, dim(paint, 1.18), 5, 0.02)
    box(0.40, 0.62, 0.58, 0.95, 0.37, glass, 6, 0.04, front=(0.57, 0.61))
    for side in (-1, 1):
        box(-1.02, -0.50, 0.63, 0.90, 0.008, glass, 8 + side, 0.02, w=side * 0.402)
        box(-0.42, 0.30, 0.63, 0.90, 0.008, glass, 8 + side, 0.02, w=side * 0.402)
        box(1.13, 1.15, 0.42, 0.52, 0.07, (240, 236, 218), 11 + side, 0.03, w=side * 0.32)
        box(-1.15, -1.13, 0.42, 0.52, 0.05, (150, 40, 34), 14 + side, 0.03, w=side * 0.36)
        for n, x in enumerate((-0.70, 0.72)):
            limbs.append(
                Limb(
                    (x - 0.005, 0.19, side * 0.37),
                    (x + 0.005, 0.19, side * 0.37),
                    0.19,
                    0.19,
                    dark,
                    wide=0.40,
                    group=17 + 4 * n + side,
                    order=0.10,
                    round=0.4,
                )
            )
            limbs.append(
                Limb(
                    (x, 0.19, side * 0.45),
                    (x + 0.001, 0.19, side * 0.45),
                    0.09,
                    0.09,
                    (126, 126, 122),
                    wide=0.2,
                    group=25 + 4 * n + side,
                    order=0.12,
                    round=0.3,
                )
            )
    box(1.13, 1.145, 0.36, 0.50, 0.20, (52, 54, 54), 33, 0.03)
    return sized(
        Body(tuple(limbs), ((1.15, 0.46, 0.28), (1.15, 0.46, -0.28)), (0.0, 1.0, 0.0), 0.0, (255, 250, 235)),
        actor.shoulder_m,
        0.0,
    )
