"""The key that is guessed for a progression."""

from __future__ import annotations

import pytest

from coach.music.chords import read_bars
from coach.music.keys import Key
from coach.music.likely_key import likely_key


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("C | Am | F | G", "C"),
        ("G | D | Em | C", "G"),
        ("E | A | B7 | E", "E"),
        ("F | Bb | C7 | F", "F"),
        ("Em | C | G | D", "Em"),
        ("Dm | Gm | A7 | Dm", "Dm"),
        ("Am | E7 | Am", "Am"),
        ("C | Fm | C | G7", "C"),  # one borrowed chord does not move it
        ("N", "C"),
    ],
)
def test_the_key_a_player_would_say(text: str, key: str) -> None:
    """Common practice, no source: the tonic at either end, and the chords of its scale in between."""
    assert likely_key([chord for bar in read_bars(text) for chord in bar]) == Key.parse(key)
