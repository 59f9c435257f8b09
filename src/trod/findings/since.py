"""What happened to a record between two answers to one question."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Since:
    """What happened since, in counts of sequences but for the last four.

    cards : joined the answer, from cards or records imported since. reviewed : joined, were there and waited for review.
    corrected : joined or left, for their identification was changed or taken back. removed : left, no longer in the
    catalogue. unexplained : joined or left otherwise: moved in time or place, regrouped.
    also_cards, also_reviewed, also_corrected : likewise, at the sites and days asked of, but neither joined nor left:
    they hold nothing of it or wait, and change what the others stand for.
    clocks : clock corrections made or undone since. silences : decided or undone. settings : (name, then, now).
    made : the versions of Trod, then and now, where they differ.
    """

    cards: int = 0
    reviewed: int = 0
    corrected: int = 0
    removed: int = 0
    unexplained: int = 0
    also_cards: int = 0
    also_reviewed: int = 0
    also_corrected: int = 0
    clocks: int = 0
    silences: int = 0
    settings: tuple[tuple[str, str, str], ...] = ()
    made: tuple[str, str] | None = None
