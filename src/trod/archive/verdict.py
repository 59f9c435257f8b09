"""May this card be formatted? The one rule, from what an import wrote down, and the words for it.

Every place that says or stores it (the sentence, the JSON, the exit status, the page, the catalogue's column)
takes it from `verdict` and from nothing else. A card is safe to format when all of this holds:

- its bag is in its place, or it brought nothing new;
- every folder and file on it could be read, to the end and without an error of the card;
- every picture and clip of it, whatever its name, is in the archive, and the copy is verified;
- the card was the same after the copying as before it;
- no picture or clip on it is damaged, or a person has said that the damage is known and may go.

A damaged file is kept as it came. Yet a card can hold more than it gives: a broken-off or empty file can often
be recovered from the card itself until that is formatted. So damage makes a card unsafe until a person says
otherwise, and only a person's word does.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from trod.archive.names import printable

Why = Literal["unfinished", "missing", "unseen", "errors", "unverified", "damaged", "unknown"]
NAMED = 20  # names that are kept of each kind, at most

# What may be told of a card's files and folders, and what makes it unsafe. A word that is not here, perhaps of a
# newer Trod, makes it unsafe too.
_UNSAFE: dict[str, Why] = {
    "unfinished": "unfinished",
    "unreadable": "missing",
    "gone": "missing",
    "unsettled": "missing",
    "short-read": "missing",
    "waiting": "missing",
    "folder-unread": "unseen",
    "folder-loop": "unseen",
    "folder-changed": "errors",
    "not-looked-again": "unseen",
    "read-error": "errors",
    "unstable": "errors",
    "changed-size": "errors",
    "read-only-now": "errors",
    "unverified": "unverified",
    "empty": "damaged",
    "misnamed": "damaged",
    "truncated": "damaged",
    "damaged": "damaged",
}
_HARMLESS = frozenset(
    {"odd-name", "hostile-name", "folder-number-twice", "foreign", "changed-later", "other", "ignored", "link",
     "special", "system-folder-unread"}
)  # fmt: skip
DAMAGE = frozenset(code for code, why in _UNSAFE.items() if why == "damaged")

# {code: (of one file or folder, of several)}
_WORDS: dict[str, tuple[str, str]] = {
    "unfinished": ("the import is not finished", "the import is not finished"),
    "unreadable": ("1 file could not be read", "{n} files could not be read"),
    "gone": ("1 file was not there any more", "{n} files were not there any more"),
    "unsettled": ("1 file was still being written", "{n} files were still being written"),
    "short-read": ("1 file ended before its size", "{n} files ended before their size"),
    "waiting": ("1 file may still grow and waits", "{n} files may still grow and wait"),
    "folder-unread": ("1 folder could not be read", "{n} folders could not be read"),
    "folder-loop": ("1 folder leads back into itself", "{n} folders lead back into themselves"),
    "folder-changed": (
        "1 file came, went or changed on it meanwhile", "{n} files came, went or changed on it meanwhile",
    ),
    "not-looked-again": (
        "it was gone before it could be looked at once more", "it was gone before it could be looked at once more",
    ),
    "read-error": ("1 file could be read only at a second try", "{n} files could be read only at a second try"),
    "unstable": (
        "1 file gave other bytes at a second reading", "{n} files gave other bytes at a second reading",
    ),
    "changed-size": (
        "1 file had another size than when the card was looked at",
        "{n} files had other sizes than when the card was looked at",
    ),
    "read-only-now": (
        "its file system stopped taking writes meanwhile, as systems do when they meet errors",
        "its file system stopped taking writes meanwhile, as systems do when they meet errors",
    ),
    "unverified": ("1 copy is not verified", "{n} copies are not verified"),
    "empty": ("1 picture or clip is empty", "{n} pictures or clips are empty"),
    "misnamed": (
        "1 file named as a picture or clip holds none", "{n} files named as pictures or clips hold none",
    ),
    "truncated": ("1 file breaks off before its end", "{n} files break off before their end"),
    "damaged": ("1 file is damaged", "{n} files are damaged"),
}  # fmt: skip
_NEXT: dict[Why, str] = {
    "unfinished": "Let it come to its end first.",
    "missing": "Import the card again, or copy what is left by hand.",
    "unseen": "Import the card again, perhaps in another reader.",
    "errors": "Import the card again, in another reader: only a run without errors proves it.",
    "unverified": "Import the card again.",
    "unknown": "Use the newer Trod that wrote this.",
    "damaged": (
        "What is damaged is kept as it came; yet more of it can perhaps be recovered from the card while that is not "
        "formatted. Look at it first, then say that it may go."
    ),
}


@dataclass(frozen=True)
class Tally:
    """How many files or folders were told the same, and the names of some."""

    count: int
    named: tuple[str, ...] = ()


@dataclass(frozen=True)
class CardFacts:
    """What an import wrote down of a card, enough for the verdict.

    seen : {what was told: of how many and which}. accepted : whether a person has said that the damaged files
        are known and may go with the card.
    """

    files: int
    new: int
    kept_before: int
    read_back: bool
    seen: Mapping[str, Tally] = field(default_factory=dict)
    accepted: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "seen", {code: t for code, t in self.seen.items() if t.count})


@dataclass(frozen=True)
class Reason:
    """One reason not to format a card."""

    what: str
    why: Why
    count: int
    named: tuple[str, ...]

    @property
    def words(self) -> str:
        return words_of(self.what, self.count)

    @property
    def sentence(self) -> str:
        """The reason with some names."""
        names = ", ".join(printable(name) for name in self.named[:3] if name)
        more = self.count - len(self.named[:3])
        if not names:
            return self.words
        return f"{self.words} ({names}{f' and {more} more' if more > 0 else ''})"


@dataclass(frozen=True)
class Verdict:
    """May the card be formatted, and why not.

    accepted : the damage that a person let go.
    """

    facts: CardFacts
    safe: bool
    reasons: tuple[Reason, ...]
    accepted: tuple[Reason, ...]

    @property
    def has_damage(self) -> bool:
        """Whether damage is among the reasons."""
        return any(reason.why == "damaged" for reason in self.reasons)

    @property
    def what_next(self) -> list[str]:
        """What to do about the reasons, a sentence or two each."""
        return [_NEXT[why] for why in dict.fromkeys(reason.why for reason in self.reasons)]

    @property
    def headline(self) -> str:
        return "Safe to format, in the camera." if self.safe else "Do not format this card."

    @property
    def sentence(self) -> str:
        """What a person needs to know before the card goes back into a camera."""
        if self.safe:
            return f"{self.explained} The card is safe to format; do that in the camera."
        return f"Do not format this card: {self.explained}"

    @property
    def explained(self) -> str:
        """The sentence without the verdict itself, for a page that says that in large letters."""
        facts = self.facts
        if not self.safe:
            return f"{'; '.join(r.sentence for r in self.reasons)}. {' '.join(self.what_next)}"
        head = "The one file of the card is" if facts.files == 1 else f"All {facts.files} files of the card are"
        parts = [f"{head} in the archive: {facts.new} new, {facts.kept_before} kept before."]
        if facts.new:
            how = "written, flushed, read back and compared"
            if not facts.read_back:
                how = "written and flushed, but not read back, as was chosen"
            parts.append(f"Each new one was {how}.")
        if self.accepted:
            parts.append(f"Accepted as damaged: {'; '.join(r.sentence for r in self.accepted)}.")
        left = facts.seen.get("other")
        if left is not None:
            such = f" (such as {printable(left.named[0])})" if left.named else ""
            parts.append(
                f"{'1 other file is' if left.count == 1 else f'{left.count} other files are'} left on the card and "
                f"would be lost by formatting{such}."
            )
        return " ".join(parts)

    def as_json(self) -> dict[str, Any]:
        """The verdict as plain values, for scripts."""
        return {
            "safe_to_format": self.safe,
            "reasons": [
                {"what": r.what, "why": r.why, "count": r.count, "named": list(r.named), "sentence": r.words}
                for r in self.reasons
            ],
            "accepted_damaged": sum(r.count for r in self.accepted),
        }


def words_of(what: str, count: int = 1) -> str:
    """What was told, of so many files or folders, in words."""
    one, many = _WORDS.get(what, (f"something was told that this Trod does not know ({what})",) * 2)
    return (one if count == 1 else many).format(n=count)


def verdict(facts: CardFacts) -> Verdict:
    """The rule."""
    reasons: list[Reason] = []
    accepted: list[Reason] = []
    for what, tally in facts.seen.items():
        if what in _HARMLESS:
            continue
        why = _UNSAFE.get(what, "unknown")
        reason = Reason(what, why, tally.count, tally.named)
        (accepted if why == "damaged" and facts.accepted else reasons).append(reason)
    order = list(_NEXT)
    reasons.sort(key=lambda r: (order.index(r.why), r.what))
    return Verdict(facts, not reasons, tuple(reasons), tuple(accepted))


def tallied(told: Iterable[tuple[str, str]]) -> dict[str, Tally]:
    """(what, path) one by one as {what: how many, and some of the paths}, what in order."""
    paths: dict[str, list[str]] = {}
    for what, path in told:
        paths.setdefault(what, []).append(path)
    return {what: Tally(len(found), tuple(found[:NAMED])) for what, found in sorted(paths.items())}


def plain(seen: Mapping[str, Tally]) -> dict[str, Any]:
    """Tallies as JSON carries them; names that are no text are spelled out."""
    return {what: {"count": t.count, "named": [printable(n) for n in t.named]} for what, t in seen.items()}


def from_plain(found: Mapping[str, Any]) -> dict[str, Tally]:
    """The tallies that `plain` wrote. What does not fit is an unknown word, which makes a card unsafe."""
    out: dict[str, Tally] = {}
    for what, value in found.items():
        try:
            out[what] = Tally(int(value["count"]), tuple(str(n) for n in value.get("named", ())))
        except (TypeError, ValueError, KeyError, AttributeError):
            out[f"{what}?"] = Tally(1)
    return out
