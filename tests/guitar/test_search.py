"""The search for shapes: nothing missed, nothing that no hand can hold, the trade's own shapes at the top."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

import pytest

from coach import places
from coach.errors import BadShape
from coach.guitar.bass import bass_of
from coach.guitar.cost import hold_parts
from coach.guitar.grip import Grip, Hand
from coach.guitar.open_shapes import read_shape_book, read_tunings
from coach.guitar.search import best_grip, find_grips, usual_first
from coach.guitar.shape import Shape
from coach.guitar.tuning import STANDARD, Tuning
from coach.music.chords import QUALITIES, Chord
from tests.sentences import is_one_sentence

BOOK = read_shape_book(places.shipped("shared") / "shapes.toml")
TUNINGS = read_tunings(places.shipped("shared") / "tunings.toml")
ROOTS = ["C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"]

# A slow search of its own ---------------------------------------------------------------------
# It follows the words at the head of search.py and fingering.py and shares nothing with them but the weights.

Frets = tuple[int | None, ...]


def _place_mm(fret: int, scale: float) -> float:
    """Half way between two wires, each at L(1 - 2^(-n/12))."""
    return scale * (1 - (2 ** (-fret / 12) + 2 ** (-(fret - 1) / 12)) / 2)


def _within(fret: int, other_fret: int, limit: float, hand: Hand) -> bool:
    return abs(_place_mm(fret, hand.scale_mm) - _place_mm(other_fret, hand.scale_mm)) <= limit


def _one_by_one(choices: list[list[int | None]], hand: Hand, so_far: Frets = ()) -> Iterator[Frets]:
    """Every choice of a fret for each string that keeps within the stretch."""
    if len(so_far) == 6:
        yield so_far
        return
    held = [f for f in so_far if f]
    for fret in choices[len(so_far)]:
        if not fret or all(_within(fret, f, hand.span_mm, hand) for f in held):
            yield from _one_by_one(choices, hand, (*so_far, fret))


@cache
def _slow_hold_cost(frets: Frets, hand: Hand) -> float | None:
    """The least any way to hold these frets costs, None where there is none: every finger on every string is tried."""
    costs = [_hold_cost(frets, fingers) for fingers in _assignments(frets, hand, {})]
    return min(costs, default=None)


def _assignments(frets: Frets, hand: Hand, fingers: dict[int, str]) -> Iterator[dict[int, str]]:
    string = next((s for s in range(6, 0, -1) if frets[6 - s] and s not in fingers), None)
    if string is None:
        if _can_be_held(frets, fingers, hand):
            yield fingers
        return
    for finger in "1234T" if string == 6 and hand.thumb else "1234":
        if all(frets[6 - s] == frets[6 - string] for s, f in fingers.items() if f == finger):
            yield from _assignments(frets, hand, {**fingers, string: finger})


def _can_be_held(frets: Frets, fingers: dict[int, str], hand: Hand) -> bool:
    strings_of = {f: [s for s in fingers if fingers[s] == f] for f in sorted(set(fingers.values()) - {"T"})}
    fret_of = {f: frets[6 - strings[0]] or 0 for f, strings in strings_of.items()}
    thumb = "T" in fingers.values()
    # Higher fingers at higher frets, or at the same fret nearer to string 1.
    for low in strings_of:
        for high in strings_of:
            if low < high and (fret_of[low], -max(strings_of[low])) > (fret_of[high], -max(strings_of[high])):
                return False
            apart = int(high) - int(low)
            limit = {1: 0.75, 2: 0.9}.get(apart, 1.0) * hand.span_mm
            if apart > 0 and not _within(fret_of[low], fret_of[high], limit, hand):
                return False
    barres = [f for f, strings in strings_of.items() if len(strings) > 1]
    if len(barres) > 1:
        return False
    for finger in barres:
        low, high = max(strings_of[finger]), min(strings_of[finger])
        widest = {"full": 6, "small": 3, "none": 0}[hand.barres]
        if low - high + 1 > (min(widest, 3) if finger != "1" or thumb else widest):
            return False
        for string in range(low, 0, -1):
            fret = frets[6 - string]
            if string > high and fret is None:
                return False
            if fret is not None and fret < fret_of[finger]:
                return False
            if string > high and fret == fret_of[finger] and fingers[string] != finger:
                return False
    if thumb and fret_of:
        return abs((frets[0] or 0) - min(fret_of.values())) <= 1
    return True


def _hold_cost(frets: Frets, fingers: dict[int, str]) -> float:
    down = {int(f): frets[6 - s] or 0 for s, f in fingers.items() if f != "T"}
    flat = [(int(f), [s for s in fingers if fingers[s] == f]) for f in set(fingers.values())  - {"T"}]
    barre = next(((f, max(held) - min(held) + 1) for f, held in flat if len(held) > 1), None)
    return sum(points for _, points in hold_parts(sorted(down.items()), barre, "T" in fingers.values()))


def slow(chord: Chord, hand: Hand, tuning: Tuning, max_fret: int) -> dict[Frets, tuple[set[str], float]]:
    """Every fingering of the chord: its frets, what is missing, and what holding it costs."""
    root = chord.root.pitch_class
    tones = [(steps, (root + semitones) % 12) for steps, semitones in QUALITIES[chord.quality]]
    classes = {pitch_class for _, pitch_class in tones}
    wanted = (chord.bass or chord.root).pitch_class
    perfect = (root + 7) % 12
    spare = {}
    if len(tones) >= 4 and (4, perfect) in tones:
        spare[perfect] = "fifth"
    if len(tones) >= 6:
        spare |= {pitch_class: "ninth" for steps, pitch_class in tones if steps == 8}
    choices: list[list[int | None]] = [
        [None, *(f for f in range(max_fret + 1) if (pitch.midi + f) % 12 in classes | {wanted})]
        for pitch in tuning.pitches
    ]
    fingerings = {}
    for frets in _one_by_one(choices, hand):
        sound = [(6 - k, (tuning.pitches[k].midi + f) % 12) for k, f in enumerate(frets) if f is not None]
        if len(sound) < 4 or len([s for s, _ in sound if s <= 3]) < 2:
            continue
        if any(pitch_class not in classes for _, pitch_class in sound[1:]):
            continue
        absent = classes - {pitch_class for _, pitch_class in sound}
        if absent - set(spare):
            continue
        midi = [tuning.pitches[k].midi + f for k, f in enumerate(frets) if f is not None]
        if min(midi) < midi[0]:
            continue
        (low, lowest), (following, second) = sound[:2]
        if lowest != wanted:
            root_above = wanted == root == second and following == low - 1 and following >= 4
            if not (root_above and lowest == perfect and (4, perfect) in tones):
                continue
        cost = _slow_hold_cost(frets, hand)
        if cost is not None:
            fingerings[frets] = ({spare[a] for a in absent}, cost)
    return fingerings


SIXTY = [
    *(f"{ROOTS[k * 5 % 12]}{quality}" for k, quality in enumerate([*QUALITIES, *list(QUALITIES)[:17]])),
    *["C/E", "D/F#", "Am/G", "F/C", "G/B", "C/D", "Em/D", "E/G#", "Bb/F", "Dm7/G", "C/Bb", "A7/C#"],
]  # fmt: skip
HANDS = [Hand(), Hand(span_mm=78.0, thumb=True, barres="small", scale_mm=628.0)]


def _held_cost(grip: Grip) -> float:
    fingers = {6 - k: f for k, f in enumerate(grip.shape.fingers) if f != "."}
    return _hold_cost(grip.shape.frets, fingers)


@pytest.mark.parametrize("hand", HANDS, ids=["usual", "small"])
@pytest.mark.parametrize("tuning", ["standard", "dadgad", "open-g"])
def test_the_search_finds_what_a_slow_one_finds(tuning: str, hand: Hand) -> None:
    """60 chords up to fret 6: the same shapes, the same tones missing, fingers as cheap as the cheapest of all."""
    assert len(SIXTY) >= 60
    for symbol in SIXTY:
        chord = Chord.parse(symbol)
        wanted = slow(chord, hand, TUNINGS[tuning], 6)
        grips = find_grips(chord, hand, TUNINGS[tuning], max_fret=6)
        assert {g.shape.frets for g in grips} == set(wanted), symbol
        assert len(grips) == len(wanted), symbol
        for grip in grips:
            missing, cost = wanted[grip.shape.frets]
            assert set(grip.missing) == missing
            fingers = {6 - k: f for k, f in enumerate(grip.shape.fingers) if f != "."}
            assert _can_be_held(grip.shape.frets, fingers, hand), (symbol, grip.shape, grip.shape.fingers)
            assert _held_cost(grip) == pytest.approx(cost)


@pytest.mark.parametrize("symbol", ["C", "Bb7", "F#m", "D/F#"])
def test_the_whole_neck_is_searched(symbol: str) -> None:
    """Up to fret 12 as well, with the thumb over the neck and every barre."""
    hand = Hand(thumb=True)
    chord = Chord.parse(symbol)
    assert {g.shape.frets for g in find_grips(chord, hand)} == set(slow(chord, hand, STANDARD, 12))


# The trade's shapes ---------------------------------------------------------------------------


# common practice, no source: the shapes every player learns first.
@pytest.mark.parametrize(
    ("symbol", "shape"),
    [
        ("C", "x32010"),
        ("A", "x02220"),
        ("G", "320003"),
        ("E", "022100"),
        ("D", "xx0232"),
        ("Am", "x02210"),
        ("Em", "022000"),
        ("Dm", "xx0231"),
        ("F/C", "x33211"),
        ("B7", "x21202"),
        ("D/F#", "200232"),
    ],
)
@pytest.mark.parametrize("hand", [Hand(), Hand(thumb=True), Hand(span_mm=110)], ids=["usual", "thumb", "wide"])
def test_the_shapes_one_learns_first_are_among_the_two_easiest(symbol: str, shape: str, hand: Hand) -> None:
    """Out of all there are, with no list to look them up in, the trade's shape comes out first or second."""
    grips = find_grips(Chord.parse(symbol), hand)
    assert len(grips) > 20
    assert shape in [str(g.shape) for g in grips[:2]]


@pytest.mark.parametrize("symbol", BOOK.open)
def test_every_open_shape_of_the_trade_is_found(symbol: str) -> None:
    """Each shape of shared/shapes.toml is among the fingerings of its chord, for a hand that reaches four frets."""
    grips = {g.shape.frets for g in find_grips(Chord.parse(symbol), Hand(span_mm=101, thumb=True))}
    assert [str(shape) for shape in BOOK.open[symbol] if shape.frets not in grips] == []


def test_the_full_barre_is_found_with_the_fingers_the_trade_gives_it() -> None:
    """F 133211: the first finger across all six strings, 3 and 4 on strings 5 and 4, 2 on string 3."""
    grip = next(g for g in find_grips(Chord.parse("F")) if str(g.shape) == "133211")
    assert (grip.shape.fingers, grip.barre) == ("134211", (1, 6, 1))


def test_the_thumb_holds_string_six_where_it_may() -> None:
    """D/F# 200232 takes the thumb when it comes over the neck, else the first finger."""
    d = Chord.parse("D/F#")
    assert best_grip(d, Hand(thumb=True)).shape.fingers == "T..132"
    assert best_grip(d).shape.fingers == "1..243"


def test_the_trades_shape_comes_first_only_among_equals() -> None:
    """An equal cost is settled for the usual shape; a lower cost is not."""
    grips = find_grips(Chord.parse("G"))
    cheap, dear = grips[0], grips[30]
    twin = Grip(dear.chord, Shape.parse("777777"), None, dear.bass, (), 0.0, dear.cost)
    ranked = usual_first([dear, twin, cheap], [twin.shape])
    assert [g.shape for g in ranked] == [cheap.shape, twin.shape, dear.shape]


# Laws -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("symbol", ["C", "F#m7b5", "Bb13", "G/B", "C/D"])
def test_a_grip_tells_the_truth_about_itself(symbol: str) -> None:
    """Cost is the sum of its parts and rises down the list; the thumb's strings are those of the rule."""
    chord = Chord.parse(symbol)
    grips = find_grips(chord)
    assert [g.cost for g in grips] == sorted(g.cost for g in grips)
    for g in grips:
        assert g.cost == pytest.approx(sum(points for _, points in g.parts), abs=1e-5)
        assert g.bass == bass_of(g.shape, chord)
        assert all(points > 0 for _, points in g.parts)
        held = [f for f in g.shape.frets if f]
        assert all((mark == ".") == (not fret) for fret, mark in zip(g.shape.frets, g.shape.fingers, strict=True))
        assert g.span_mm == pytest.approx(_place_mm(max(held), 648) - _place_mm(min(held), 648) if held else 0)


def test_the_limit_keeps_the_easiest() -> None:
    """The ten easiest are the first ten of all."""
    chord = Chord.parse("Am7")
    assert find_grips(chord, limit=10) == find_grips(chord)[:10]
    assert find_grips(chord, limit=0) == ()


def test_a_chord_of_four_tones_may_go_without_its_fifth_and_says_so() -> None:
    """C7 x32310 has no G; a plain C never goes without."""
    c7 = next(g for g in find_grips(Chord.parse("C7")) if str(g.shape) == "x32310")
    assert c7.missing == ("fifth",)
    assert {g.missing for g in find_grips(Chord.parse("C"))} == {()}
    assert {g.missing for g in find_grips(Chord.parse("Cm7b5"))} == {()}
    assert {m for g in find_grips(Chord.parse("A13")) for m in g.missing} == {"fifth", "ninth"}


def test_the_fifth_may_lie_under_the_root_for_the_thumb() -> None:
    """D x00232 gives the thumb 4 3 5; under an asked-for bass, or a flat fifth, nothing lies lower."""
    shapes = {str(g.shape): g for g in find_grips(Chord.parse("D"))}
    assert (shapes["x00232"].bass.r, shapes["x00232"].bass.f) == (4, 5)
    assert dict(shapes["x00232"].parts)["fifth under the root"] > 0
    assert "000232" not in shapes
    for symbol, lowest in (("D/F#", 6), ("Bdim", 11), ("Am/G", 7)):
        assert {(g.shape.midi(g.shape.sounding[0]) or 0) % 12 for g in find_grips(Chord.parse(symbol))} == {lowest}


@pytest.mark.parametrize("tuning", TUNINGS)
def test_nothing_sounds_lower_than_the_bass(tuning: str) -> None:
    """The lowest pitch of all is the bass note, or the fifth that is told to lie under the root."""
    for symbol in ("D", "C", "A/C#", "C/D", "E7sus4"):
        chord, strings = Chord.parse(symbol), TUNINGS[tuning]
        for g in find_grips(chord, tuning=strings):
            lowest = min(g.shape.midi(s, strings) or 0 for s in g.shape.sounding) % 12
            under = "fifth under the root" in dict(g.parts)
            assert lowest == (chord.fifth if under else chord.lowest).pitch_class, g.shape


def test_a_capo_brings_the_frets_together() -> None:
    """Names and frets count from the capo: C keeps its shapes, gains some, and none gets harder to stretch."""
    c = Chord.parse("C")
    plain, capo = {g.shape.frets: g for g in find_grips(c)}, {g.shape.frets: g for g in find_grips(c, capo=4)}
    assert plain.keys() < capo.keys()
    for frets, grip in plain.items():
        assert capo[frets].span_mm == pytest.approx(grip.span_mm * 2 ** (-4 / 12))


def test_a_wider_hand_loses_nothing() -> None:
    """What a small hand can hold a larger one can, and more."""
    small, large = (
        {g.shape.frets for g in find_grips(Chord.parse("Bbmaj7"), Hand(span_mm=span))} for span in (70, 100)
    )
    assert small < large


def test_a_span_in_frets_is_kept_everywhere_on_the_neck() -> None:
    """Three frets: the highest and the lowest fret held are at most two apart."""
    for g in find_grips(Chord.parse("E"), Hand(span_mm=200, span_frets=3)):
        held = [f for f in g.shape.frets if f]
        assert not held or max(held) - min(held) <= 2


def test_barres_only_where_they_are_welcome() -> None:
    """No barre when none is wanted; at most three strings when small ones are."""
    assert {g.barre for g in find_grips(Chord.parse("Bm"), Hand(barres="none"))} == {None}
    wide = [g.barre for g in find_grips(Chord.parse("Bm"), Hand(barres="small")) if g.barre]
    assert wide
    assert max(low - high + 1 for _, low, high in wide) == 3


def test_open_g_needs_no_finger_for_g() -> None:
    """Where the tuning is the chord, the two easiest are open: with its root lowest, and with its fifth under it."""
    first, second = find_grips(Chord.parse("G"), tuning=TUNINGS["open-g"], limit=2)
    assert (str(first.shape), first.shape.fingers, first.span_mm) == ("x00000", "......", 0.0)
    assert (str(second.shape), second.bass.r, second.bass.f) == ("000000", 5, 6)


@pytest.mark.parametrize("quality", QUALITIES)
@pytest.mark.parametrize("tuning", TUNINGS)
def test_every_chord_has_a_shape_in_every_tuning(tuning: str, quality: str) -> None:
    """Whatever the root, a hand that reaches four frets at the nut holds something, and the root is in it."""
    for root in ROOTS:
        chord = Chord.parse(root + quality)
        best = best_grip(chord, Hand(span_mm=101), TUNINGS[tuning])
        assert chord.root.pitch_class in {(best.shape.midi(s, TUNINGS[tuning]) or 0) % 12 for s in best.shape.sounding}


def test_other_spelling_same_shapes() -> None:
    """C# and Db are the same places on the neck."""
    sharp, flat = (find_grips(Chord.parse(name), max_fret=6) for name in ("C#m7", "Dbm7"))
    assert [g.shape for g in sharp] == [g.shape for g in flat]


@pytest.mark.parametrize(
    ("hand", "more"),
    [
        (Hand(span_mm=-5), {}),
        (Hand(span_mm=float("nan")), {}),
        (Hand(span_frets=0), {}),
        (Hand(scale_mm=0), {}),
        (Hand(barres="wide"), {}),
        (Hand(), {"max_fret": 99}),
        (Hand(), {"max_fret": -1}),
        (Hand(), {"capo": 13, "max_fret": 12}),
        (Hand(), {"capo": -1}),
    ],
)
def test_a_hand_or_neck_that_cannot_be_is_refused(hand: Hand, more: dict[str, int]) -> None:
    """No stretch below nothing, no fret past the neck: one sentence."""
    with pytest.raises(BadShape) as caught:
        find_grips(Chord.parse("C"), hand, **more)  # type: ignore[arg-type]
    assert is_one_sentence(caught.value)


def test_a_chord_no_hand_reaches_is_refused() -> None:
    """With no fret at all C cannot be held in standard tuning."""
    with pytest.raises(BadShape) as caught:
        best_grip(Chord.parse("C"), max_fret=0)
    assert is_one_sentence(caught.value)
