"""Keys and capos ranked by sums: right in sound, right in time, and with the singer in mind."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coach.errors import BadInput
from coach.guitar import key_finder
from coach.guitar.cost import STRETCH
from coach.guitar.grip import Grip, Hand
from coach.guitar.key_finder import CAPO, CLOSED_BASS, OFF_MIDDLE, OUT_OF_RANGE, KeyChoice, find_keys
from coach.guitar.search import find_grips
from coach.music.chords import Chord, read_bars
from coach.music.keys import Key
from coach.music.notes import Pitch
from coach.music.numerals import numeral
from tests.sentences import is_one_sentence


def ranked(chords: str, key: str, **more: object) -> tuple[KeyChoice, ...]:
    """The ranking for chords in a key; ranges as `A2-D4`."""
    given = {k: reach(v) if isinstance(v, str) else v for k, v in more.items()}
    return find_keys(read_bars(chords), Key.parse(key), **given)  # type: ignore[arg-type]


def reach(text: str) -> tuple[Pitch, Pitch]:
    """`A2-D4` as two pitches."""
    low, _, high = text.partition("-")
    return Pitch.parse(low), Pitch.parse(high)


def names(choice: KeyChoice) -> list[str]:
    """Its chords in the shape key."""
    return [str(c) if c else "N" for bar in choice.bars for c in bar]


def at(choices: tuple[KeyChoice, ...], shape_key: str, capo: int) -> KeyChoice:
    """The one pair asked for."""
    return next(c for c in choices if (str(c.shape_key), c.capo) == (shape_key, capo))


# Sound ------------------------------------------------------------------------------------------


def test_c_shapes_at_capo_four_and_g_shapes_at_two_sound_as_players_know() -> None:
    """C shapes with the capo on 4 sound in E, G shapes with it on 2 in A (arithmetic; common practice, no source)."""
    assert at(ranked("E | A B7", "E", fixed=True), "C", 4).sounding_key == Key.parse("E")
    assert at(ranked("E | A B7", "E"), "G", 2).sounding_key == Key.parse("A")


@pytest.mark.parametrize("key", ["C", "E", "Bb", "F#", "Ab", "Am", "F#m", "Ebm"])
def test_shape_key_and_capo_add_up_to_what_sounds(key: str) -> None:
    """Tonic of the shapes plus the capo's frets is the sounding tonic, in all 96 pairs; each pair is there once."""
    choices = ranked("C | F | G7", key)
    assert len({(c.shape_key.tonic.pitch_class, c.capo) for c in choices}) == len(choices) == 96
    for choice in choices:
        up = choice.shape_key.tonic.pitch_class + choice.capo
        assert up % 12 == choice.sounding_key.tonic.pitch_class
        assert (Key.parse(key).tonic.pitch_class + choice.voice_shift) % 12 == choice.sounding_key.tonic.pitch_class
        assert choice.shape_key.minor == choice.sounding_key.minor == Key.parse(key).minor


def test_the_numerals_stay_the_same_in_every_shape_key() -> None:
    """I vi IV V, with a borrowed iv and bVII and a secondary dominant, keeps its numerals wherever the fingers go."""
    song = "C | Am | F Fm | Bb G7 | A7 Dm"
    meant = [numeral(c, Key.parse("C")) for bar in read_bars(song) for c in bar]
    for choice in ranked(song, "C"):
        if abs(choice.shape_key.signature) <= 4:  # beyond, players' names may leave the key's own spelling
            assert [numeral(c, choice.shape_key) for bar in choice.bars for c in bar] == meant


def test_a_fixed_key_sounds_as_it_is_and_keeps_its_name() -> None:
    """In Gb only pairs that sound in Gb, by that name; nobody's voice moves."""
    choices = ranked("Gb | Cb | Db7", "Gb", fixed=True)
    assert len(choices) == 8
    assert {str(c.sounding_key) for c in choices} == {"Gb"}
    assert {c.voice_shift for c in choices} == {0}


def test_shape_keys_have_the_names_players_use() -> None:
    """Twelve keys with the fewest accidentals; chords such as Fb never appear."""
    choices = ranked("C | Fm | Db", "C")
    assert {str(c.shape_key) for c in choices} == {"C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"}
    assert not {n for c in choices for n in names(c)} & {"Fb", "Cb", "E#", "B#", "Cbm", "Fbm"}


# Sums -------------------------------------------------------------------------------------------


def stretched(grip: Grip, capo: int) -> float:
    """A grip's cost where every stretch is 2^(-capo/12) as long."""
    plain = STRETCH * (grip.span_mm / 95.0) ** 2
    return grip.cost - plain + STRETCH * (grip.span_mm * 2 ** (-capo / 12) / 95.0) ** 2


def test_the_points_are_the_ease_by_time_and_the_rest() -> None:
    """Two bars: C for four beats, F and G for two each. Added up by hand for C shapes, capo 3."""
    choice = at(ranked("C | F G", "C"), "C", 3)
    best = {s: min(find_grips(Chord.parse(s), limit=6), key=lambda g: stretched(g, 3)) for s in ("C", "F", "G")}
    share = {"C": 0.5, "F": 0.25, "G": 0.25}
    ease = sum(share[s] * stretched(best[s], 3) for s in share)
    closed = sum(share[s] for s in share if best[s].shape.fret(best[s].bass.r))
    assert dict(choice.parts) == pytest.approx({"ease": ease, "closed bass": CLOSED_BASS * closed, "capo": CAPO * 3})
    assert choice.points == pytest.approx(sum(v for _, v in choice.parts))


def test_the_ranking_is_by_points_and_the_score_goes_the_other_way() -> None:
    """Fewest points first; 0 points would be a score of 100, 10 points are 50."""
    choices = ranked("C | Am | F | G", "C")
    points = [c.points for c in choices]
    assert points == sorted(points)
    assert [c.score for c in choices] == sorted((c.score for c in choices), reverse=True)
    assert replace(choices[0], points=0.0).score == 100
    assert replace(choices[0], points=10.0).score == 50


def test_time_counts() -> None:
    """A hard chord for seven bars of eight weighs more than for one."""
    long = at(ranked("C | F | F | F | F | F | F | F", "C"), "C", 0)
    short = at(ranked("C | C | C | C | C | C | C | F", "C"), "C", 0)
    assert long.points > short.points


def test_bars_without_chord_do_not_count() -> None:
    """N is rest for the hand: the same points with and without it."""
    assert at(ranked("C | N | G", "C"), "C", 0).points == pytest.approx(at(ranked("C | G", "C"), "C", 0).points)
    assert names(at(ranked("C | N | G", "C"), "G", 0)) == ["G", "N", "D"]


def test_a_capo_eases_the_stretch_and_costs_a_little_itself() -> None:
    """The same shapes higher up: less ease spent, more for the capo."""
    low, high = (dict(at(ranked("C | F | G", "C"), "C", capo).parts) for capo in (0, 5))
    assert high["ease"] < low["ease"]
    assert high["capo"] > low["capo"]


def test_no_family_wins_but_by_its_sums(monkeypatch: pytest.MonkeyPatch) -> None:
    """With every chord equally easy and every bass alike, the capo alone decides: the first twelve have none."""

    def alike(chord: Chord, *rest: object, **more: object) -> tuple[Grip, ...]:
        return (find_grips(Chord.parse("E"))[0],)

    monkeypatch.setattr(key_finder, "find_grips", alike)
    assert {c.capo for c in ranked("C | Am | F | G", "C")[:12]} == {0}


def test_a_song_of_barres_gets_a_capo_and_open_shapes() -> None:
    """Bb Gm Eb F, to be played with others: G shapes at capo 3 beat Bb's own; common practice, no source."""
    choices = ranked("Bb | Gm | Eb | F", "Bb", fixed=True)
    assert (str(choices[0].shape_key), choices[0].capo) == ("G", 3)
    assert choices[0].points < at(choices, "Bb", 0).points


def test_the_hand_counts() -> None:
    """Who takes no barre finds no B minor family at the nut as easy as who does."""
    free, bound = (at(ranked("Bm | F#m | G", "Bm", hand=Hand(barres=b)), "Bm", 0) for b in ("full", "none"))
    assert bound.points >= free.points
    assert all(g.barre is None for g in bound.grips)


# Voice ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("melody", "voice", "low", "high"),
    [("D4-D5", "A2-C4", 45, 60), ("C3-A3", "G3-A4", 55, 69), ("A2-D4", "A2-D4", 45, 62)],
)
def test_the_best_choice_lies_in_the_voice_where_it_fits(melody: str, voice: str, low: int, high: int) -> None:
    """A tune no wider than the voice ends up inside it, an octave away if need be."""
    best = ranked("G | Em | C | D", "G", melody=melody, voice=voice)[0]
    tune = reach(melody)
    assert tune[0].midi + best.voice_shift >= low
    assert tune[1].midi + best.voice_shift <= high
    assert any("within the voice" in why for why in best.why)


def test_each_semitone_outside_the_voice_costs() -> None:
    """C4-C5 moved up five is F4-F5: three too high for a voice C4-D5, its middle B4 four above the voice's G4."""
    choice = next(c for c in ranked("C", "C", melody="C4-C5", voice="C4-D5") if c.voice_shift == 5)
    too_high, off_middle = 3, 4
    assert dict(choice.parts)["voice"] == pytest.approx(OUT_OF_RANGE * too_high + OFF_MIDDLE * off_middle)
    assert any("3 semitones too high" in why for why in choice.why)


def test_the_octave_is_the_one_that_suits() -> None:
    """For every sounding key no other octave would leave the voice's range less."""
    tune, voice = reach("E4-G5"), reach("G2-C4")
    for choice in ranked("G | C | D", "G", melody="E4-G5", voice="G2-C4"):
        here = key_finder.semitones_outside(tune, voice, choice.voice_shift)
        assert here == min(key_finder.semitones_outside(tune, voice, choice.voice_shift + k) for k in (-12, 0, 12))


def test_of_two_octaves_that_fit_the_one_nearer_the_middle_is_sung() -> None:
    """A tune of one tone, C3, for a voice A2-C5, whose middle is near B3: in C it is sung an octave up, at C4."""
    in_c = [c for c in ranked("C", "C", melody="C3-C3", voice="A2-C5") if str(c.sounding_key) == "C"]
    assert {c.voice_shift for c in in_c} == {12}


def test_without_a_voice_the_nearest_octave_is_named() -> None:
    """Nobody sings: the shift is at most six semitones."""
    assert max(abs(c.voice_shift) for c in ranked("G | C | D", "G")) == 6


# Reasons ----------------------------------------------------------------------------------------


def test_the_reasons_name_capo_barres_bass_and_borrowed_chords() -> None:
    """E with a borrowed D and A minor, from the shapes of C at capo 4: F minor takes a barre there."""
    why = " · ".join(at(ranked("E | A | D | Am | B7", "E", fixed=True), "C", 4).why)
    assert "C major shapes with the capo on 4 sound in E major" in why
    assert "take a small barre" in why
    assert "the borrowed bVII becomes Bb" in why
    assert "the borrowed iv becomes Fm, which takes a barre" in why
    assert "no root lies on an open string" in why


def test_the_open_bass_is_told_in_time() -> None:
    """E shapes: E and A have their roots on open strings, B7 has not: three bars of four."""
    why = at(ranked("E | A | E | B7", "E"), "E", 0).why
    assert "the thumb's root is an open string 75% of the time" in why


def test_a_chord_no_hand_can_hold_is_told_and_costs() -> None:
    """With a reach of 40 mm and no barre some shape keys have no grip for some chord."""
    choices = ranked("F# | B | C#", "F#", hand=Hand(span_mm=40, barres="none"), fixed=True, max_capo=0)
    assert any("within this hand's reach" in why for why in choices[0].why)
    assert choices[0].points > 5


# Mistakes ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "given",
    [
        {"melody": "D4-A3", "voice": "A2-D4"},
        {"melody": "A3-D4", "voice": "D4-A2"},
        {"melody": "A3-D4"},
        {"voice": "A3-D4"},
        {"max_capo": -1},
        {"max_capo": 12},
    ],
)
def test_a_range_upside_down_or_alone_and_a_capo_that_cannot_be(given: dict[str, object]) -> None:
    """Each is one sentence with a way to mend it."""
    with pytest.raises(BadInput) as caught:
        ranked("C", "C", **given)
    assert is_one_sentence(caught.value)


def test_a_song_without_chord_is_one_sentence() -> None:
    """There is nothing to rank."""
    with pytest.raises(BadInput) as caught:
        ranked("N | N", "C")
    assert is_one_sentence(caught.value)
