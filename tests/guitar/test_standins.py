"""Easier things for a hard chord: each must be easier, tell the chord, and say honestly what it costs."""

from __future__ import annotations

import pytest

from coach.guitar.grip import Grip, Hand
from coach.guitar.moves import touches
from coach.guitar.search import find_grips
from coach.guitar.standins import HOLDING, KINDS, StandIn, find_standins, holding_cost, related_chords, telling_tones
from coach.guitar.tuning import STANDARD
from coach.music.chords import Chord
from coach.music.keys import Key

C_MAJOR = Key.parse("C").scale


def chord(symbol: str) -> Chord:
    """A chord by its symbol."""
    return Chord.parse(symbol)


def held(symbol: str, shape: str) -> Grip:
    """The searched grip of that shape."""
    return next(g for g in find_grips(chord(symbol)) if str(g.shape) == shape)


def by_kind(standins: tuple[StandIn, ...], kind: str) -> list[StandIn]:
    """Those of one kind, best first."""
    return [s for s in standins if s.kind == kind]


FULL_F, C, G = held("F", "133211"), held("C", "x32010"), held("G", "320003")


TELLING = [("F", "A F"), ("G7", "B F"), ("Dm7", "F C"), ("Dsus4", "G D"), ("Bm7b5", "D A F"), ("C5", "G C")]


def test_the_cost_of_holding_is_that_of_fingers_barre_and_place() -> None:
    """What is left of 133211 without the picking hand; x3321x loses its barre and keeps four fingers."""
    assert holding_cost(FULL_F) == pytest.approx(sum(p for why, p in FULL_F.parts if why in HOLDING))
    assert {why for why, _ in FULL_F.parts} <= set(HOLDING)  # six strings, three basses: it costs the fingers nothing
    assert holding_cost(held("F", "x3321x")) < holding_cost(FULL_F)


@pytest.mark.parametrize(("symbol", "tones"), TELLING)
def test_a_chord_is_told_by_third_and_seventh_or_root(symbol: str, tones: str) -> None:
    """G7 by B and F, a triad by third and root, a fourth stands for the third; an altered fifth tells as well."""
    assert " ".join(map(str, telling_tones(chord(symbol)))) == tones


def test_f_has_f_major_seventh_and_d_minor_seventh_for_relatives() -> None:
    """Both hold F and A; A minor lacks the F and is none."""
    names = {str(c) for c in related_chords(chord("F"))}
    assert {"Fmaj7", "F6", "Fadd9", "Dm7", "Dm"} <= names
    assert not {"Am", "C", "F"} & names


@pytest.mark.parametrize("symbol", ["F", "Bm", "Bb", "F#m", "G#m", "Ebmaj7", "C#m7b5"])
def test_every_stand_in_is_easier_and_tells_the_chord(symbol: str) -> None:
    """Each asks half a finger less of the fretting hand; relatives sound all telling tones."""
    hard = next(g for g in find_grips(chord(symbol)) if len(g.shape.sounding) >= 5 and 0 not in g.shape.frets)
    standins = find_standins(chord(symbol), before=C)
    assert standins
    for standin in standins:
        assert standin.kind in KINDS
        assert standin.saves == pytest.approx(holding_cost(hard) - holding_cost(standin.grip))
        assert standin.saves >= 0.5
        assert standin.lost or standin.gained
        sounding = {(standin.grip.shape.midi(s) or 0) % 12 for s in standin.grip.shape.sounding}
        wanted = [t.pitch_class in sounding for t in telling_tones(chord(symbol))]
        assert any(wanted) if standin.kind == "keep" else all(wanted)


def test_a_smaller_shape_rings_on_four_neighbouring_strings() -> None:
    """For the barre F the top four, xx3211, and the middle four, x3321x; what falls silent is said."""
    smaller = by_kind(find_standins(chord("F"), instead_of=FULL_F), "smaller")
    shapes = {str(s.grip.shape): s for s in smaller}
    assert {"xx3211", "x3321x"} <= set(shapes)
    assert "strings 6 and 5 must stay silent" in shapes["xx3211"].lost
    assert "a barre over 2 strings, not 6" in shapes["xx3211"].gained


def test_the_thumb_over_the_neck_is_offered_with_its_price() -> None:
    """A thumb on string 6; who has not set it is told that the thumb must reach, who has is not."""
    for hand, is_lost in ((Hand(), True), (Hand(thumb=True), False)):
        over = by_kind(find_standins(chord("F"), hand, instead_of=FULL_F), "thumb")
        assert over
        assert all(s.grip.shape.fingers[0] == "T" for s in over)
        assert all(("the thumb must reach over the neck" in s.lost) == is_lost for s in over)


def test_a_relative_says_what_it_adds_and_what_goes() -> None:
    """Fmaj7 adds E, the seventh; Dm7 has another bass."""
    rows = {
        str(s.grip.chord): s for s in by_kind(find_standins(chord("F"), instead_of=FULL_F, scale=C_MAJOR), "relative")
    }
    assert "adds E (seventh)" in rows["Fmaj7"].gained
    assert "no barre" in rows["Fmaj7"].gained
    assert "the bass is D, not F" in rows["Dm7"].lost


def test_relatives_in_the_key_come_before_those_outside() -> None:
    """For Dm in C: once one brings a note from outside the key, all after it do."""
    first = by_kind(find_standins(chord("Dm"), scale=C_MAJOR), "relative")
    outside = [any("outside the key" in words for words in s.lost) for s in first]
    assert outside == sorted(outside)
    assert False in outside


def test_the_hard_grip_of_f_is_the_full_barre() -> None:
    """Nothing said, stand-ins are for 133211: smaller, by thumb, by a relative."""
    assert find_standins(chord("F")) == find_standins(chord("F"), instead_of=FULL_F)
    assert {s.kind for s in find_standins(chord("F"))} == {"smaller", "thumb", "relative"}


def test_g_stays_and_one_finger_adds_the_f() -> None:
    """G:1@1: the shape 320003 with string 1 at fret 1; nothing else moves, and what it is not is said."""
    rows = {s.recipe: s for s in by_kind(find_standins(chord("F"), instead_of=FULL_F, before=G), "keep")}
    hint = rows["G:1@1"]
    assert str(hint.grip.shape) == "320001"
    assert any("a hint of F, not the whole" in words for words in hint.lost)
    assert "the bass stays on G" in hint.lost
    assert "no third" in hint.lost


def test_what_is_kept_differs_in_one_string_only() -> None:
    """Every recipe is the shape before with one string changed to the fret that it names, and its fingers can do it."""
    for symbol, before in (("F", C), ("F", G), ("Bm", G), ("B7", held("E", "022100"))):
        for standin in by_kind(find_standins(chord(symbol), before=before), "keep"):
            name, _, where = standin.recipe.partition(":")
            string, fret = map(int, where.split("@"))
            assert name == str(before.chord)
            changed = [s for s in range(1, 7) if standin.grip.shape.fret(s) != before.shape.fret(s)]
            assert changed == [string]
            assert standin.grip.shape.fret(string) == fret
            pressed = {6 - k for k, f in enumerate(standin.grip.shape.frets) if f}
            assert pressed == {6 - k for k, c in enumerate(standin.grip.shape.fingers) if c != "."}


def test_a_held_finger_is_where_it_was_before() -> None:
    """For F after C: the first finger stays on string 2, fret 1, under Fmaj7 or Dm7."""
    rows = by_kind(find_standins(chord("F"), instead_of=FULL_F, before=C), "held")
    assert rows
    for standin in rows:
        assert touches(standin.grip).items() & touches(C).items()
        assert any("down from C" in words for words in standin.gained)


def test_an_easy_chord_has_no_keep_of_itself() -> None:
    """After C, C needs no hint of itself."""
    assert not by_kind(find_standins(chord("C"), before=C), "keep")


def test_a_hand_that_can_hold_nothing_gets_nothing() -> None:
    """No grip to stand in for, no stand-in."""
    assert find_standins(chord("F#m"), Hand(span_mm=40, barres="none"), max_fret=1) == ()


def test_the_fingers_and_tuning_agree() -> None:
    """In a tuning of its own the stand-ins still tell the chord."""
    from coach.guitar.tuning import Tuning

    tuning = Tuning.of("D2 A2 D3 G3 A3 D4")
    for standin in find_standins(chord("Gm"), tuning=tuning):
        sounding = {(standin.grip.shape.midi(s, tuning) or 0) % 12 for s in standin.grip.shape.sounding}
        assert {t.pitch_class for t in telling_tones(chord("Gm"))} <= sounding
    assert tuning != STANDARD
