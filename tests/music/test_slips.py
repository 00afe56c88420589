"""Whatever is typed as a chord, a key or a numeral is understood or refused in one sentence."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.errors import BadMusic
from coach.music.chords import Chord, read_bars
from coach.music.keys import Key
from coach.music.numerals import chord_of
from tests.sentences import is_one_sentence

TYPED = st.text(alphabet="ABCDEFGHabcdefgmMinjor#b♯♭/°øoΔ+-−6791154su3dIiVvXx ()|N.²\n", max_size=9)


@pytest.mark.parametrize(
    "read", [Chord.parse, read_bars, Key.parse, lambda text: chord_of(text, Key.parse("A#m"))],
    ids=["chord", "bars", "key", "numeral"],
)  # fmt: skip
@given(text=st.one_of(TYPED, st.text(max_size=6)))
def test_any_text_is_read_or_refused_in_a_sentence(read: Callable[[str], Any], text: str) -> None:
    """No other kind of failure; and what was read as a chord reads back as written."""
    value, refused = None, None
    try:
        value = read(text)
    except BadMusic as error:
        refused = error
    assert refused is None or is_one_sentence(refused)
    if isinstance(value, Chord):
        assert Chord.parse(str(value)) == value
