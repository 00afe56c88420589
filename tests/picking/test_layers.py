"""Layers nest, and the ladder grows."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given

from coach.errors import BadInput
from coach.music.chords import Chord
from coach.picking.layers import LAYERS, check_layer, distinct_layers, next_layer, plucks_in_layer
from coach.picking.pattern import Pattern
from coach.picking.plucks import ACCENT
from coach.picking.realise import realise
from tests.picking.made_up import patterns
from tests.picking.shipped import BOOK, PATTERNS, held, over
from tests.picking.test_pattern import pattern_of
from tests.sentences import is_one_sentence

NAMES = tuple(LAYERS)
G = Chord.parse("G")


@pytest.mark.parametrize("pattern", PATTERNS, ids=lambda p: p.id)
def test_layers_nest(pattern: Pattern) -> None:
    """Each layer holds every pluck of the one below; the lowest is the thumb's, the highest is all."""
    plucks = over(pattern, "C | G | D | Am | F")
    layers = [set(plucks_in_layer(plucks, name)) for name in NAMES]
    assert all(low <= high for low, high in pairwise(layers))
    assert layers[0] == {p for p in plucks if p.finger == "p"}
    assert layers[-1] == set(plucks)


@pytest.mark.parametrize("pattern", PATTERNS, ids=lambda p: p.id)
def test_every_rung_of_the_ladder_adds_something(pattern: Pattern) -> None:
    """From thumb to full each step brings new plucks; a pattern for the thumb alone has just its two names."""
    plucks = over(pattern, "C | G | D | Am | F")
    rungs = distinct_layers(plucks)
    counts = [len(plucks_in_layer(plucks, name)) for name in rungs]
    assert (rungs[0], rungs[-1]) == ("thumb", "full")
    assert counts[-1] == len(plucks)
    if all(p.finger == "p" for p in plucks):
        assert rungs == ("thumb", "full")
    else:
        assert all(low < high for low, high in pairwise(counts))


@given(patterns())
def test_any_ladder_grows(pattern: Pattern) -> None:
    """For any pattern with fingers each rung is a strict superset of the one before."""
    plucks = realise(pattern, [held(G, BOOK.shapes(G)[0])], loops=3)
    layers = [set(plucks_in_layer(plucks, name)) for name in distinct_layers(plucks)]
    assert layers[-1] == set(plucks)
    if any(p.finger != "p" for p in plucks):
        assert all(low < high for low, high in pairwise(layers))


def test_what_each_layer_adds() -> None:
    """Thumb; then accents; then pinches; then fingers on the beat; then the rest."""
    pattern = pattern_of(
        ("p", "r . . . f . . ."), ("i", ". 3 3 . . . . ."), ("m", "2 . . . . . . ."), ("a", ". . . 1! . . . .")
    )
    plucks = realise(pattern, [held(G, BOOK.shapes(G)[0])])
    added = []
    for low, high in pairwise(NAMES):
        (new,) = set(plucks_in_layer(plucks, high)) - set(plucks_in_layer(plucks, low))
        added.append((high, str(new.beat), new.finger))
    assert added == [("tune", "3/2", "a"), ("pinches", "0", "m"), ("beats", "1", "i"), ("full", "1/2", "i")]


def test_a_melody_is_kept_longest_among_the_fingers() -> None:
    """In the layer above the thumb only accented finger notes have joined it."""
    plucks = over(next(p for p in PATTERNS if p.id == "three-over-four-rolling"), "G")
    joined = [p for p in plucks_in_layer(plucks, "tune") if p.finger != "p"]
    assert {p.stress for p in joined} == {ACCENT}


def test_steps_stay_on_the_ladder() -> None:
    """One step up or down, never past the ends; an unknown layer lands on the last."""
    rungs = ("thumb", "beats", "full")
    assert [next_layer(rungs, layer, 1) for layer in rungs] == ["beats", "full", "full"]
    assert next_layer(rungs, "thumb", -1) == "thumb"
    assert next_layer(rungs, "tune", 1) == "full"


def test_an_unknown_layer_is_refused() -> None:
    """One sentence that lists the layers there are."""
    with pytest.raises(BadInput) as caught:
        check_layer("loud")
    assert is_one_sentence(caught.value)
    assert all(name in str(caught.value) for name in NAMES)
