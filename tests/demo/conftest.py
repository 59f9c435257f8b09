"""The demo's two cards, made once and small, for all tests of this room."""

from __future__ import annotations

from pathlib import Path

import pytest

from trod_demo.cards import CardMade, write_two_cards


@pytest.fixture(scope="session")
def two_cards(tmp_path_factory: pytest.TempPathFactory) -> dict[str, CardMade]:
    """The two cards that were just pulled, by site; about 60 files each of 160 × 120 pixels."""
    dest: Path = tmp_path_factory.mktemp("two")
    return {card.site: card for card in write_two_cards(dest, pictures=60, size=(160, 120), seed=3)}
