"""Writing the demo's memory cards: DCF folders of real JPEG files with EXIF, and the truth beside them.

    python -m trod_demo.cards DEST [--cards year|two|copy-test] [--pictures N] [--size 640x480] [--seed 1]

File names after CIPA DC-009 (DCF), such as DCIM/100TARNB/LANT0001.JPG: three digits and five letters, then four
letters and four digits. Everything on the cards is invented.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
from PIL import Image

from trod.engine import run
from trod.errors import TrodError, WrongInput
from trod_demo.reserve import (
    CAMERAS_BY_SERIAL,
    DEFAULT_NOW,
    MODELS_BY_SLUG,
    CameraModel,
    Card,
    Deployment,
    Year,
    year,
)
from trod_demo.scene import Seen, to_jpeg
from trod_demo.shots import camera_clock, exif_of, shot_of, stage_for
from trod_demo.story import Moment, Storyteller, budgets
from trod_demo.truth import TrueAnimal, Truth, read_truth, write_truth

__all__ = ["CardMade", "noise_card", "read_truth", "write_two_cards", "write_year"]

Progress = Callable[[int, int], None]
PER_FOLDER = 9999
"""Highest file number of DCF; after it comes 0001 in the next folder."""
_CHUNK = 48
_SEEN_AT_LEAST = 0.08
"""A body of which less than this share shows does not count as seen."""
_SMALLEST_PX = 10
"""Nor does one whose box is less than this high in a 480-row picture. [px]"""


@dataclass(frozen=True)
class CardMade:
    """One card written. folder : its root. first, last : true times of its first and last picture."""

    folder: Path
    name: str
    camera: str
    deployment: str
    site: str
    first: datetime
    last: datetime
    pictures: int
    truth: Path
    just_pulled: bool = False


@dataclass(frozen=True)
class _File:
    """A file to be written: where, which moment, which camera's clock error."""

    path: str
    moment: Moment
    number: int


@dataclass(frozen=True)
class _Task:
    """A run of files of one card, handed to one worker."""

    root: Path
    card: str
    deployment: Deployment
    model: CameraModel
    size: tuple[int, int]
    seed: int
    quality: int
    files: tuple[_File, ...] = field(repr=False, default=())


def make_picture(
    deployment: Deployment,
    moment: Moment,
    *,
    size: tuple[int, int],
    seed: int,
    number: int,
    quality: int = 80,
) -> tuple[bytes, tuple[Seen, ...], bool]:
    """One finished JPEG file of a moment, the bodies in it, and whether it is infrared."""
    model = MODELS_BY_SLUG[CAMERAS_BY_SERIAL[deployment.camera].model]
    stage = stage_for(deployment, size, moment.askew)
    picture, seen, infrared = stage.shoot(shot_of(deployment, moment, seed=seed, number=number))
    thumbnail = None
    if "thumbnail" in model.stamp:
        thumbnail = to_jpeg(picture.resize((160, 120), Image.Resampling.BOX), quality=70)
    exif = exif_of(deployment, model, moment, size=size, infrared=infrared, number=number, thumbnail=thumbnail)
    return to_jpeg(picture, quality=quality, exif=exif), seen, infrared


def _truth_of(task: _Task, file: _File, data: bytes, seen: tuple[Seen, ...], infrared: bool) -> Truth:
    m = file.moment
    counted = []
    for s in seen:
        rows = (s.box[3] - s.box[1]) * 480
        if s.visible >= _SEEN_AT_LEAST and rows >= _SMALLEST_PX and not _swallowed(m, s, infrared, task.model):
            kind = {"person": "human", "vehicle": "vehicle"}.get(s.actor.kind, "animal")
            counted.append(
                TrueAnimal(
                    kind,
                    s.actor.kind if kind == "animal" else "",
                    s.actor.sex,
                    s.actor.life_stage,
                    (round(s.box[0], 5), round(s.box[1], 5), round(s.box[2], 5), round(s.box[3], 5)),
                    s.visible,
                    s.distance_m,
                    s.actor.pose,
                )
            )
    cause = m.cause
    kind = counted[0].what if counted else "blank"
    if kind == "blank" and not cause:
        cause = "left the frame" if m.kind == "animal" or m.actors else "nothing there"
        if m.lens.ice > 0.3 or (m.lens.weak > 0.6 and infrared):
            cause = "ice on the lens" if m.lens.ice > 0.3 else "flash too weak"
    troubles = [
        word
        for word, there in (
            ("askew", m.askew),
            ("ice", m.lens.ice > 0),
            ("dew", m.lens.dew > 0),
            ("weak battery", m.lens.weak > 0),
            ("wrong clock", abs(task.deployment.clock_error_s(m.at)) > 1800),
        )
        if there
    ]
    w = m.weather
    return Truth(
        path=file.path,
        sha256=hashlib.sha256(data).hexdigest(),
        bytes=len(data),
        card=task.card,
        camera=task.deployment.camera,
        deployment=task.deployment.slug,
        site=task.deployment.site,
        taken_true=m.at.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z"),
        taken_written=camera_clock(task.deployment, m.at).isoformat(timespec="seconds"),
        infrared=infrared,
        kind=kind,
        species=m.species if kind == "animal" else "",
        count=len(counted),
        animals=tuple(counted),
        blank_cause=cause if kind == "blank" else "",
        detection=m.detection,
        weather={
            "temperature_c": round(w.temperature_c, 1),
            "cloud": round(w.cloud, 2),
            "rain": round(w.rain, 2),
            "snowfall": round(w.snowfall, 2),
            "fog": round(w.fog, 2),
            "wind_mps": round(w.wind_mps, 1),
            "snow_cm": round(w.snow_cm, 1),
        },
        troubles=tuple(troubles),
    )


def _swallowed(m: Moment, s: Seen, infrared: bool, model: CameraModel) -> bool:
    """Whether ice, fog or the dark leave nothing of a body to be seen."""
    if m.lens.ice > 0.85:
        return True
    if infrared and (m.lens.weak > 0.85 or s.distance_m > model.flash_range_m * 1.15):
        return True
    return m.weather.fog * s.distance_m > 24


def _write_run(task: _Task) -> list[Truth]:
    """Render and write a task's files; the work of one worker."""
    rows = []
    for file in task.files:
        data, seen, infrared = make_picture(
            task.deployment,
            file.moment,
            size=task.size,
            seed=task.seed,
            number=file.number,
            quality=task.quality,
        )
        target = task.root / file.path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(data)
        _set_file_time(target, camera_clock(task.deployment, file.moment.at))
        rows.append(_truth_of(task, file, data, seen, infrared))
    return rows


def _set_file_time(path: Path, shown: datetime) -> None:
    """Give a file its camera's clock as its time, as if that clock were UTC: alike on every machine."""
    stamp = shown.replace(tzinfo=UTC).timestamp()
    os.utime(path, (stamp, stamp))


def dcf_path(model: CameraModel, index: int) -> str:
    """The DCF path of a camera's index-th picture, counted from 1: nnn of the folder goes up after 9999."""
    folder, number = divmod(index - 1, PER_FOLDER)
    if not 0 <= folder <= 899:
        raise WrongInput("picture number", got=index, needed="1 to 8999100, as many names as DCF has")
    return f"DCIM/{100 + folder}{model.folder_tail}/{model.file_head}{number + 1:04d}.JPG"


# --- whole cards ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Plan:
    card: Card
    deployment: Deployment
    folder: Path
    moments: list[Moment]
    first_index: int


def _tasks(plan: _Plan, *, size: tuple[int, int], seed: int, quality: int) -> list[_Task]:
    model = MODELS_BY_SLUG[CAMERAS_BY_SERIAL[plan.deployment.camera].model]
    files = [
        _File(dcf_path(model, plan.first_index + k), moment, plan.first_index + k)
        for k, moment in enumerate(plan.moments)
    ]
    return [
        _Task(
            plan.folder,
            plan.card.name,
            plan.deployment,
            model,
            size,
            seed,
            quality,
            tuple(files[k : k + _CHUNK]),
        )
        for k in range(0, len(files), _CHUNK)
    ]


def _write_plans(
    plans: Sequence[_Plan],
    dest: Path,
    *,
    size: tuple[int, int],
    seed: int,
    quality: int,
    progress: Progress | None,
    workers: int,
    stop: Callable[[], bool] | None,
) -> list[CardMade]:
    tasks: list[_Task] = []
    owner: list[int] = []
    for n, plan in enumerate(plans):
        new = _tasks(plan, size=size, seed=seed, quality=quality)
        tasks += new
        owner += [n] * len(new)
    total = sum(len(p.moments) for p in plans)
    rows: dict[int, list[Truth]] = {n: [] for n in range(len(plans))}
    done = 0
    if progress:
        progress(0, total)
    for outcome in run(tasks, _write_run, workers=workers, stop=stop, batch=1):
        if outcome.value is None:
            raise TrodError(f"The demo's card {outcome.task.card} could not be written: {outcome.error}")
        rows[owner[outcome.index]] += outcome.value
        done += len(outcome.value)
        if progress:
            progress(done, total)
    made = []
    for n, plan in enumerate(plans):
        plan.folder.mkdir(parents=True, exist_ok=True)
        truth = dest / "truth" / f"{plan.folder.name}.jsonl"
        write_truth(truth, rows[n])
        at = [m.at for m in plan.moments] or [plan.card.put_in]
        made.append(
            CardMade(
                plan.folder,
                plan.card.name,
                plan.deployment.camera,
                plan.deployment.slug,
                plan.deployment.site,
                at[0],
                at[-1],
                len(plan.moments),
                truth,
                plan.card.just_pulled,
            )
        )
    return made


def _check_size(size: tuple[int, int]) -> None:
    if not (160 <= size[0] <= 8000 and 120 <= size[1] <= 6000):
        raise WrongInput("size", got=f"{size[0]}x{size[1]}", needed="width 160 to 8000 and height 120 to 6000 pixels")


def write_year(
    dest: Path,
    *,
    seed: int = 1,
    pictures: int = 2400,
    size: tuple[int, int] = (640, 480),
    progress: Progress | None = None,
    workers: int = 1,
    now: date = DEFAULT_NOW,
    stop: Callable[[], bool] | None = None,
    quality: int = 80,
) -> list[CardMade]:
    """Write the year's cards below `dest`.

    Each card is a folder named <camera serial>-<n>; its truth lies in dest/truth/<folder>.jsonl.

    pictures : about how many in all; never fewer than the visits' own pictures take (a few hundred).
    size : width and height. [px]  progress : called as progress(done, total) in pictures. workers :
    processes. now : the history's last day; the two cards of `write_two_cards` are left out.
    Raises WrongInput for a size or a number that cannot be; Stopped.
    """
    _check_size(size)
    if pictures < 1:
        raise WrongInput("pictures", got=pictures, needed="a whole number from 1")
    y = year(now)
    shares = budgets(y, pictures, take=lambda name: not _card(y, name).just_pulled)
    return _write_plans(
        _plans(y, Path(dest), shares, seed=seed),
        Path(dest),
        size=size,
        seed=seed,
        quality=quality,
        progress=progress,
        workers=workers,
        stop=stop,
    )


def _card(y: Year, name: str) -> Card:
    return next(c for c in y.cards if c.name == name)


def _plans(y: Year, dest: Path, shares: dict[str, int], *, seed: int, false_running: float = 0.16) -> list[_Plan]:
    plans: list[_Plan] = []
    shot: dict[str, int] = {}
    for name, share in shares.items():
        card = _card(y, name)
        assert card.taken_out is not None and card.folder is not None
        deployment = y.deployment(card.deployment)
        model = MODELS_BY_SLUG[CAMERAS_BY_SERIAL[deployment.camera].model]
        start = card.put_in - timedelta(minutes=1)
        moments = Storyteller(y, deployment, seed=seed).tell(start, card.taken_out, share, false_running=false_running)
        # Some makers go on counting on a fresh card, others begin again: names repeat.
        goes_on = model.slug.startswith(("tarnbeckle", "vespergate"))
        first = 1 + (shot.get(deployment.slug, 0) if goes_on else 0)
        shot[deployment.slug] = first - 1 + len(moments)
        plans.append(_Plan(card, deployment, dest / card.folder, moments, first))
    return plans


def write_two_cards(
    dest: Path,
    *,
    seed: int = 1,
    pictures: int = 400,
    size: tuple[int, int] = (640, 480),
    progress: Progress | None = None,
    workers: int = 1,
    now: date = DEFAULT_NOW,
    stop: Callable[[], bool] | None = None,
    quality: int = 80,
) -> list[CardMade]:
    """Write the two cards that were pulled on the last day, about `pictures` files each, with their troubles.

    Larkfield Edge: a clock one hour ahead, a run of false triggers of blanks, one truncated file. Stone Ford: file
    numbers that run over 9999 into the next folder, six files of another camera, one file of no bytes.
    """
    _check_size(size)
    if pictures < 60:
        raise WrongInput("pictures", got=pictures, needed="at least 60 a card, to hold the troubles")
    dest = Path(dest)
    y = year(now)
    plans: list[_Plan] = []
    for card in y.cards:
        if not card.just_pulled:
            continue
        assert card.taken_out is not None and card.folder is not None
        deployment = y.deployment(card.deployment)
        meadow = deployment.site == "larkfield-edge"
        start = card.put_in - timedelta(minutes=1)
        share = pictures if meadow else pictures - 6
        moments = Storyteller(y, deployment, seed=seed).tell(
            start, card.taken_out, share, false_running=0.42 if meadow else 0.12
        )
        first = 1203 if meadow else PER_FOLDER + 1 - int(len(moments) * 0.45)
        plans.append(_Plan(card, deployment, dest / card.folder, moments, first))
    made = _write_plans(
        plans, dest, size=size, seed=seed, quality=quality, progress=progress, workers=workers, stop=stop
    )
    out = []
    for card_made in made:
        rows = read_truth(card_made.truth)
        if card_made.site == "larkfield-edge":
            rows = _truncate(card_made, rows)
        else:
            rows = _empty(card_made, rows)
            rows += _foreign(card_made, y, seed=seed, size=size, quality=quality)
        write_truth(card_made.truth, rows)
        out.append(replace(card_made, pictures=len(rows)))
    return out


def _truncate(card: CardMade, rows: list[Truth]) -> list[Truth]:
    """Cut one file short, as when the batteries give out while it is written."""
    k = len(rows) * 2 // 3
    path = card.folder / rows[k].path
    data = path.read_bytes()
    data = data[: int(len(data) * 0.58)]
    _rewrite(path, data)
    rows[k] = replace(rows[k], sha256=hashlib.sha256(data).hexdigest(), bytes=len(data), damage="truncated")
    return rows


def _empty(card: CardMade, rows: list[Truth]) -> list[Truth]:
    k = len(rows) // 3
    _rewrite(card.folder / rows[k].path, b"")
    rows[k] = replace(
        rows[k],
        sha256=hashlib.sha256(b"").hexdigest(),
        bytes=0,
        damage="zero bytes",
        kind="damaged",
        species="",
        count=0,
        animals=(),
        blank_cause="",
    )
    return rows


def _rewrite(path: Path, data: bytes) -> None:
    stat = path.stat()
    path.write_bytes(data)
    os.utime(path, (stat.st_atime, stat.st_mtime))


def _foreign(card: CardMade, y: Year, *, seed: int, size: tuple[int, int], quality: int) -> list[Truth]:
    """Six files left on the card from another camera, two years before."""
    other = next(d for d in y.deployments if d.site == "closed-lane")
    model = MODELS_BY_SLUG[CAMERAS_BY_SERIAL[other.camera].model]
    teller = Storyteller(y, other, seed=seed + 1)
    moments = teller.tell(other.start, other.start + timedelta(days=40), 6)[:6]
    back = timedelta(days=730)
    old = replace(
        other,
        start=other.start - back,
        end=other.start - back + timedelta(days=60),
        clock=tuple(replace(c, since=c.since - back) for c in other.clock),
    )
    files = tuple(
        _File(
            f"DCIM/102{model.folder_tail}/{model.file_head}{231 + k:04d}.JPG",
            replace(m, at=m.at - back),
            231 + k,
        )
        for k, m in enumerate(moments)
    )
    rows = _write_run(_Task(card.folder, card.name, old, model, size, seed, quality, files))
    return [replace(r, damage="foreign") for r in rows]


# --- a card for timing copies ---------------------------------------------------------------------


def noise_card(
    dest: Path,
    files: int,
    bytes_each: int = 4_000_000,
    *,
    seed: int = 1,
    size: tuple[int, int] = (4000, 3000),
) -> CardMade:
    """Make a card of `files` valid JPEG files of exactly `bytes_each` bytes quickly, for timing copies.

    All show one rendered picture; each has its own EXIF time and its own incompressible bytes (in JPEG
    comment segments before the picture's data), so that no two files are alike. Smaller sizes than the
    picture itself takes are refused with WrongInput.
    """
    if files < 1:
        raise WrongInput("files", got=files, needed="a whole number from 1")
    _check_size(size)
    dest = Path(dest)
    y = year()
    deployment = next(d for d in y.deployments if d.site == "hay-stand")
    model = MODELS_BY_SLUG[CAMERAS_BY_SERIAL[deployment.camera].model]
    moment = Storyteller(y, deployment, seed=seed).tell(deployment.start, deployment.start + timedelta(days=30), 60)[-1]
    stage = stage_for(deployment, size)
    picture, _, infrared = stage.shoot(shot_of(deployment, moment, seed=seed, number=1))
    # The dearest quality that still leaves room for each file's own bytes.
    body = b""
    for quality in (96, 93, 90, 85, 80, 70, 60, 45, 30):
        body = to_jpeg(picture, quality=quality)
        if len(body) + 1500 <= bytes_each:
            break
    else:
        raise WrongInput(
            "bytes_each",
            got=bytes_each,
            needed=f"at least {len(body) + 1500} bytes for a picture of {size[0]}x{size[1]} pixels",
        )
    rest = body[_after_jfif(body) :]
    rng = np.random.default_rng([seed, 4])
    folder = dest / f"{deployment.camera}-copy-test"
    rows = []
    last = moment
    for k in range(files):
        last = replace(moment, at=moment.at + timedelta(seconds=41 * k))
        exif = exif_of(deployment, model, last, size=size, infrared=infrared, number=k + 1)
        head = b"\xff\xd8\xff\xe1" + (len(exif) + 2).to_bytes(2, "big") + exif
        data = head + _comments(rng, bytes_each - len(head) - len(rest)) + rest
        path = folder / dcf_path(model, k + 1)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
        _set_file_time(path, camera_clock(deployment, last.at))
        rows.append(
            Truth(
                dcf_path(model, k + 1),
                hashlib.sha256(data).hexdigest(),
                len(data),
                "copy-test",
                deployment.camera,
                deployment.slug,
                deployment.site,
                last.at.isoformat().replace("+00:00", "Z"),
                camera_clock(deployment, last.at).isoformat(timespec="seconds"),
                infrared,
                "blank",
                "",
                0,
                (),
                "made for timing copies",
                k,
            )
        )
    truth = dest / "truth" / f"{folder.name}.jsonl"
    write_truth(truth, rows)
    return CardMade(
        folder,
        "copy-test",
        deployment.camera,
        deployment.slug,
        deployment.site,
        moment.at,
        last.at,
        files,
        truth,
    )


def _after_jfif(jpeg: bytes) -> int:
    """Where a JPEG goes on after its start mark and its JFIF segment."""
    at = 2
    while jpeg[at : at + 2] == b"\xff\xe0":
        at += 2 + int.from_bytes(jpeg[at + 2 : at + 4], "big")
    return at


def _comments(rng: np.random.Generator, total: int) -> bytes:
    """JPEG comment segments (marker FFFE) that take exactly `total` bytes, filled with noise."""
    out = []
    while total > 0:
        take = min(total, 65537)
        if 0 < total - take < 4:  # what is left must hold a segment's own four bytes
            take -= 4
        if take < 4:
            raise WrongInput("bytes_each", got=total, needed="four bytes or more for a comment segment")
        out.append(b"\xff\xfe" + (take - 2).to_bytes(2, "big") + rng.bytes(take - 4))
        total -= take
    return b"".join(out)


# --- the command ----------------------------------------------------------------------------------


def _size(text: str) -> tuple[int, int]:
    try:
        w, h = text.lower().split("x")
        return int(w), int(h)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a size such as 640x480") from None


def main(arguments: Sequence[str] | None = None) -> int:
    """The command; returns its exit status."""
    parser = argparse.ArgumentParser(
        prog="python -m trod_demo.cards", description="Write the demo's invented memory cards."
    )
    parser.add_argument("dest", type=Path, help="folder to write into")
    parser.add_argument("--cards", choices=("year", "two", "copy-test"), default="year")
    parser.add_argument(
        "--pictures",
        type=int,
        default=None,
        help="year: in all (2400); two: a card (400); copy-test: files (100)",
    )
    parser.add_argument("--size", type=_size, default=None, help="WIDTHxHEIGHT in pixels (640x480; copy-test 4000x3000)")
    parser.add_argument("--bytes", type=int, default=4_000_000, help="copy-test: bytes of each file (4000000)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=1, help="processes (1)")
    parser.add_argument("--quality", type=int, default=80, help="JPEG quality of the renderings, 1 to 95 (80)")
    given = parser.parse_args(arguments)
    tty = sys.stderr.isatty()

    def progress(done: int, total: int) -> None:
        if tty:
            print(f"\r{done} of {total} pictures", end="" if done < total else "\n", file=sys.stderr, flush=True)

    try:
        if given.cards == "copy-test":
            made = [
                noise_card(
                    given.dest,
                    given.pictures or 100,
                    given.bytes,
                    seed=given.seed,
                    size=given.size or (4000, 3000),
                )
            ]
        else:
            write = write_year if given.cards == "year" else write_two_cards
            made = write(
                given.dest,
                seed=given.seed,
                pictures=given.pictures or (2400 if given.cards == "year" else 400),
                size=given.size or (640, 480),
                progress=progress,
                workers=given.workers,
                quality=given.quality,
            )
    except TrodError as error:
        print(f"Error: {error}", file=sys.stderr)
        return 2
    for card in made:
        print(f"{card.folder}  {card.pictures} pictures  {card.first:%Y-%m-%d} to {card.last:%Y-%m-%d}  {card.site}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
