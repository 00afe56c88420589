"""The route through a progression: exact, and what a player would call economical."""

from __future__ import annotations

import random
from itertools import pairwise, product

import pytest

from coach import places
from coach.errors import BadInput, BadShape
from coach.guitar.bass import bass_of
from coach.guitar.choices import add_fingers, choose_candidates, pinned_grips
from coach.guitar.grip import Grip
from coach.guitar.moves import Moves, Slide, Stay, Weights, touches
from coach.guitar.open_shapes import read_shape_book
from coach.guitar.route import best_route, find_route
from coach.guitar.search import find_grips
from coach.guitar.shape import Shape
from coach.guitar.tuning import STANDARD
from coach.music.chords import Chord
from coach.music.notes import Note, Pitch
from tests.sentences import is_one_sentence

MOVES = Moves()


def grip(chord: str, shape: str, fingers: str, cost: float = 1.0) -> Grip:
    """A grip as the search would give it, with a cost of one's own."""
    held, named = Shape.parse(shape, fingers), Chord.parse(chord)
    strings = [6 - k for k, c in enumerate(fingers) if c == "1"]
    barre = (held.fret(strings[0]) or 0, strings[0], strings[-1]) if len(strings) > 1 else None
    return Grip(named, held, barre, bass_of(held, named), (), 0.0, cost)


C, C_WITH_G = grip("C", "x32010", ".32.1."), grip("Cadd9", "x32033", ".21.34")
AM, F_SMALL, F_FULL = grip("Am", "x02210", "..231."), grip("F", "xx3211", "..3211"), grip("F", "133211", "134211")
G, G_FOUR = grip("G", "320003", "21...3"), grip("G", "320033", "21..34")
E_BARRE, A_BARRE = grip("A", "577655", "134211"), grip("B", "799877", "134211")
EM_OPEN = grip("Em/D", "xx0000", "......")

# One grip from the next ------------------------------------------------------------------------


def change(a: Grip, b: Grip, moves: Moves = MOVES) -> tuple[object, ...]:
    """(held fingers, sliding fingers, moved fingers) between two grips."""
    move = moves.change(moves.prepare(a), moves.prepare(b))
    return "".join(s.finger for s in move.held), "".join(s.finger for s in move.slides), "".join(move.moved)


def test_from_c_to_a_minor_two_fingers_stay_and_one_moves() -> None:
    """x32010 to x02210: first and second finger keep their place, the third goes from string 5 to string 3."""
    move = MOVES.change(MOVES.prepare(C), MOVES.prepare(AM))
    assert move.held == (Stay("1", 2, 1, True), Stay("2", 4, 2, True))
    assert move.moved == ("3",)
    assert move.rings == ("C", "E")
    assert str(move) == (
        "finger 1 (string 2, fret 1) and finger 2 (string 4, fret 2) stay down; finger 3 moves; C and E can ring on"
    )


def test_the_third_and_fourth_finger_hold_g_and_cadd9_together() -> None:
    """320033 to x32033: ring and little finger stay on strings 2 and 1, the others move one string over."""
    assert change(G_FOUR, C_WITH_G) == ("34", "", "12")


def test_a_barre_shape_up_two_frets_is_four_guides() -> None:
    """577655 to 799877: every finger slides on its string, none is lifted."""
    assert change(E_BARRE, A_BARRE) == ("", "1234", "")
    move = MOVES.change(MOVES.prepare(E_BARRE), MOVES.prepare(A_BARRE))
    assert move.slides[1] == Slide("2", 3, 6, 8)


def test_a_small_barre_laid_flat_stays_down_but_is_not_whole() -> None:
    """F xx3211 to 133211: the first finger keeps fret 1 and takes all strings, which costs a little."""
    move = MOVES.change(MOVES.prepare(F_SMALL), MOVES.prepare(F_FULL))
    assert move.held[0] == Stay("1", 2, 1, False)
    assert move.held[1] == Stay("2", 3, 2, True)
    assert move.moved == ("3", "4")


def test_staying_costs_nothing() -> None:
    """From a grip to itself nothing moves."""
    assert MOVES.cost(MOVES.prepare(C), MOVES.prepare(C)) == 0
    assert MOVES.change(MOVES.prepare(C), MOVES.prepare(grip("C", "x32010", ".32.1."))).cost == 0


def test_a_hand_with_no_finger_down_is_free() -> None:
    """Out of open strings the fingers come down where they like: no way along the neck is counted."""
    far = MOVES.change(MOVES.prepare(EM_OPEN), MOVES.prepare(E_BARRE))
    assert far.travel_mm == 0
    assert far.moved == ("1", "2", "3", "4")


def stands_mm(fret: int) -> float:
    """Millimetres from the nut of a 648 mm string to the middle between the wires of a fret and the one before."""
    return 648 * (1 - (2 ** (-fret / 12) + 2 ** (-(fret - 1) / 12)) / 2)


def test_a_finger_s_way_is_measured_on_the_neck() -> None:
    """The first finger of a barre shape goes 54.54 mm from fret 5 to 7 of a 648 mm string, the others less."""
    assert stands_mm(7) - stands_mm(5) == pytest.approx(54.54, abs=0.01)
    move = MOVES.change(MOVES.prepare(E_BARRE), MOVES.prepare(A_BARRE))
    ways = ((5, 7), (6, 8), (7, 9), (7, 9))
    assert move.travel_mm == pytest.approx(sum(stands_mm(b) - stands_mm(a) for a, b in ways))


def test_a_capo_makes_every_way_shorter() -> None:
    """With the capo on 2 the neck is shorter by 2^(-2/12) = 0.8909."""
    capoed = Moves(capo=2)
    plain = MOVES.change(MOVES.prepare(E_BARRE), MOVES.prepare(A_BARRE)).travel_mm
    short = capoed.change(capoed.prepare(E_BARRE), capoed.prepare(A_BARRE)).travel_mm
    assert short == pytest.approx(plain * 2 ** (-2 / 12))


def test_a_common_tone_let_go_costs_more_than_one_kept() -> None:
    """From C to Am x02210 C4 and E4 ring on; Am at the twelfth fret lets both go (the G is no tone of Am)."""
    up = grip("Am", "x(12)(14)(14)(13)(12)", ".13421")
    only_tones = Moves(weights=Weights(shape=0, travel=0, place=0, slide=0, flatten=0, tone=1))
    assert only_tones.cost(only_tones.prepare(C), only_tones.prepare(AM)) == 0
    assert only_tones.cost(only_tones.prepare(C), only_tones.prepare(up)) == 2


@pytest.mark.parametrize("weights", [{"place": -1}, {"tone": float("nan")}])
def test_a_weight_below_nothing_is_refused(weights: dict[str, float]) -> None:
    """The search relies on it that no change costs less than nothing."""
    with pytest.raises(BadInput) as caught:
        Weights(**weights)
    assert is_one_sentence(caught.value)


# Exactness -------------------------------------------------------------------------------------

SHAPES = [
    ("C", "x32010", ".32.1."), ("C", "332010", "342.1."), ("C", "x35553", ".13331"), ("C", "8(10)(10)988", "134211"),
    ("Am", "x02210", "..231."), ("Am", "577555", "134111"), ("F", "xx3211", "..3211"), ("F", "133211", "134211"),
    ("F", "1x321x", "T.321."), ("G", "320003", "21...3"), ("G", "320033", "21..34"), ("G", "355433", "134211"),
    ("Em", "022000", ".23..."), ("Em", "022000", ".12..."), ("Em", "xx2000", "..2..."), ("D", "xx0232", "...132"),
    ("D", "x57775", ".12341"), ("Em/D", "xx0000", "......"), ("F#", "xx4322", "..3211"),
]  # fmt: skip


def progression(chance: random.Random, most: int) -> list[list[Grip | None]]:
    """One to `most` chords with one to four candidates each, now and then a bar without chord."""
    rows: list[list[Grip | None]] = []
    for _ in range(chance.randint(1, most)):
        row: list[Grip | None] = [
            grip(*shape, cost=chance.choice((0.0, 0.5, 1.0, 2.5, chance.random() * 8)))
            for shape in chance.sample(SHAPES, chance.randint(1, 4))
        ]
        rows.append([None] if chance.random() < 0.1 else row)
    return rows


def finger_places(g: Grip) -> dict[str, tuple[int, frozenset[int]]]:
    """Finger -> (fret, the strings from its lowest to its highest), worked out anew from the fingering."""
    by_finger: dict[str, tuple[int, frozenset[int]]] = {}
    for f in set(g.shape.fingers) - {"."}:
        pressed = [6 - k for k, c in enumerate(g.shape.fingers) if c == f]
        by_finger[f] = (g.shape.fret(pressed[0]) or 0, frozenset(range(min(pressed), max(pressed) + 1)))
    return by_finger


def slow_cost(a: Grip | None, b: Grip | None, capo: int, w: Weights) -> float:
    """The cost of a change written out again from its definition."""
    if a is None or b is None:
        return 0.0

    def mm(fret: int) -> float:
        return stands_mm(fret + capo)

    def home(places: dict[str, tuple[int, frozenset[int]]]) -> float | None:
        firsts = [fret - int(f) + 1 for f, (fret, _) in places.items() if f != "T"]
        return mm(max(1, min(firsts))) if firsts else None

    before, after = finger_places(a), finger_places(b)
    total = 0.0
    for finger, (fret, strings) in after.items():
        if finger not in before:
            here, there = home(before), home(after)
            total += w.place + (0 if here is None or there is None else w.travel * abs(here - there))
        elif before[finger] == (fret, strings):
            total += 0
        elif before[finger][0] == fret and before[finger][1] & strings:
            total += w.flatten
        elif before[finger][1] == strings:
            total += w.slide + w.travel * abs(mm(fret) - mm(before[finger][0]))
        else:
            middle = [(min(s) + max(s)) / 2 for s in (strings, before[finger][1])]
            way = ((mm(fret) - mm(before[finger][0])) ** 2 + (8 * (middle[0] - middle[1])) ** 2) ** 0.5
            total += w.place + w.travel * way
    tones = {n.pitch_class for n in (*b.chord.tones, b.chord.lowest)}
    sounding = {b.shape.midi(s) for s in (3, 2, 1)}
    for s in (3, 2, 1):
        midi = a.shape.midi(s)
        total += w.tone * (midi is not None and midi % 12 in tones and midi not in sounding)
    return total


def brute_force(rows: list[list[Grip | None]], capo: int, loop: bool) -> list[tuple[float, float]]:
    """(sum, hardest change) of every possible way."""
    w = Weights()
    ways_through = []
    for way in product(*rows):
        ends = [*pairwise(way), *([(way[-1], way[0])] if loop else [])]
        own = [0.0 if g is None else g.cost for g in way]
        changes = [slow_cost(a, b, capo, w) for a, b in ends]
        hard = [c + (0.0 if b is None else b.cost) for c, (_, b) in zip(changes, ends, strict=True)]
        ways_through.append((sum(own) + sum(changes), max(hard, default=0.0)))
    return ways_through


@pytest.mark.parametrize("loop", [False, True], ids=["once", "round and round"])
def test_the_route_is_the_cheapest_of_all_ways(loop: bool) -> None:
    """200 random progressions of up to six chords against every combination there is, for the sum and for minimax."""
    chance = random.Random(1989)
    for _ in range(200):
        rows = progression(chance, 6)
        capo = chance.choice((0, 0, 3))
        moves = Moves(capo=capo)
        every = brute_force(rows, capo, loop)
        least = min(cost for cost, _ in every)
        plain, careful = (best_route(rows, moves, minimax=m, loop=loop) for m in (False, True))
        assert plain.cost == pytest.approx(least)
        hardest = min(hard for _, hard in every)
        assert careful.hardest == pytest.approx(hardest)
        assert careful.cost == pytest.approx(min(cost for cost, hard in every if hard <= hardest + 1e-9))
        assert careful.hardest <= plain.hardest + 1e-9
        assert careful.cost >= plain.cost - 1e-9


def test_a_route_adds_up() -> None:
    """Its cost is that of its shapes and of its changes; its hardest change is one of them."""
    route = best_route([[C], [AM], [F_SMALL, F_FULL], [G, G_FOUR]], MOVES)
    assert [str(g.shape) for g in route.grips if g][:2] == ["x32010", "x02210"]
    assert route.cost == pytest.approx(4 * 1.0 + sum(c.cost for c in route.changes))
    assert route.hardest == pytest.approx(max(c.cost + 1.0 for c in route.changes))


def test_a_loop_has_a_change_back_to_the_beginning() -> None:
    """Three chords round and round are three changes, once through are two."""
    rows = [[C], [AM], [F_SMALL]]
    assert len(best_route(rows, MOVES).changes) == 2
    assert len(best_route(rows, MOVES, loop=True).changes) == 3
    assert len(best_route([[C]], MOVES).changes) == 0
    assert best_route([[C]], MOVES, loop=True).changes[0].cost == 0


def test_a_bar_without_chord_gives_the_hand_time() -> None:
    """N has no grip, and the changes into and out of it cost nothing."""
    route = best_route([[C], [None], [E_BARRE]], MOVES)
    assert route.grips[1] is None
    assert [c.cost for c in route.changes] == [0, 0]
    assert str(route.changes[0]) == "the hand is free"


@pytest.mark.parametrize("rows", [[], [[C], []]])
def test_no_chord_or_no_candidate_is_one_sentence(rows: list[list[Grip | None]]) -> None:
    """There is nothing to find a way through."""
    with pytest.raises(BadInput) as caught:
        best_route(rows, MOVES)
    assert is_one_sentence(caught.value)


EVERYDAY = (
    "C Am F G", "G D Em C", "E A B7 E", "D G A D", "Am G C E7", "C G Am F", "G C D G", "A D E A", "Em C G D",
    "C Em F G", "Am Dm E7 Am", "D A G D", "G Em Am D7", "C A7 D7 G7", "E B7 A E", "Dm C Am Dm", "G C Am D",
    "C F C G7", "A7 D7 E7 A7", "Em Am B7 Em",
)  # fmt: skip


def test_everyday_progressions_keep_the_trade_s_open_shapes() -> None:
    """Round and round in twenty progressions of open chords (common practice, no source): 76 of 80 shapes at least."""
    book = read_shape_book(places.shipped("shared") / "shapes.toml").open
    kept = []
    for line in EVERYDAY:
        for grip in find_route([Chord.parse(symbol) for symbol in line.split()], loop=True).grips:
            assert grip is not None
            kept.append(grip.shape.frets in {shape.frets for shape in book[str(grip.chord)]})
    assert len(kept) == 80
    assert sum(kept) >= 76


def test_the_searched_route_is_the_best_over_its_candidates() -> None:
    """With six candidates a chord, C Am F G round and round against all 1296 ways; with a capo and without."""
    chords = [Chord.parse(s) for s in ("C", "Am", "F", "G")]
    for capo in (0, 4):
        rows: list[list[Grip | None]] = [list(find_grips(c, capo=capo, limit=6)) for c in chords]
        route = find_route(chords, capo=capo, candidates=6, loop=True)
        assert route.cost == pytest.approx(min(cost for cost, _ in brute_force(rows, capo, loop=True)))


def test_a_song_of_sixty_four_chords_has_a_route() -> None:
    """Every chord is held by a grip of its own."""
    song = [Chord.parse(s) for s in ["C", "Am", "F", "G", "Em", "Dm7", "G7", "E7"] * 8]
    route = find_route(song, minimax=True)
    assert [g.chord for g in route.grips if g] == song
    assert len(route.changes) == 63


# Pins and top notes ----------------------------------------------------------------------------

KNOWN = {"F": (F_SMALL, F_FULL), "C": (C,), "G": (G, G_FOUR)}


def find(chord: Chord) -> tuple[Grip, ...]:
    """A little search."""
    return KNOWN.get(str(chord), ())


def chosen(symbols: str, **asked: object) -> list[list[str]]:
    """The shapes left to choose from for each chord."""
    chords = [None if s == "N" else Chord.parse(s) for s in symbols.split()]
    rows = choose_candidates(chords, find, **{"pins": {}, "tops": {}, **asked})  # type: ignore[arg-type]
    return [[str(g.shape) for g in row if g] for row in rows]


def test_a_pin_by_symbol_holds_everywhere_and_one_by_position_once() -> None:
    """F is pinned to the full barre; the second F alone to the small shape."""
    full, small = Shape.parse("133211"), Shape.parse("xx3211")
    assert chosen("F C F", pins={"F": full}) == [["133211"], ["x32010"], ["133211"]]
    assert chosen("F C F", pins={"F": full, 2: small}) == [["133211"], ["x32010"], ["xx3211"]]


def test_a_pin_that_names_its_fingers_keeps_them() -> None:
    """Of two fingerings of 022000 the one with fingers 2 and 3; without fingers both are left."""
    ways = (grip("Em", "022000", ".12..."), grip("Em", "022000", ".23..."))
    assert pinned_grips(Chord.parse("Em"), Shape.parse("022000", ".23..."), ways, STANDARD) == ways[1:]
    assert pinned_grips(Chord.parse("Em"), Shape.parse("022000"), ways, STANDARD) == ways


def test_a_pin_that_no_search_finds_is_taken_as_the_player_s_own() -> None:
    """x32013 for C: the fingers come by rule, and its cost is that of the hardest shape known."""
    (own,) = pinned_grips(Chord.parse("C"), Shape.parse("x32013"), (C,), STANDARD)
    assert (str(own.shape), own.shape.fingers, own.cost) == ("x32013", ".32.14", 1.0)
    (bare,) = pinned_grips(Chord.parse("C"), Shape.parse("x3x01x"), (), STANDARD)
    assert bare.missing == ("third",)


@pytest.mark.parametrize(
    ("shape", "fingers"),
    [("xx0232", "...132"), ("133211", "134211"), ("x02210", "..231."), ("xx0000", "......"), ("x24442", ".12341")],
)
def test_fingers_by_rule_are_the_trade_s(shape: str, fingers: str) -> None:
    """Low frets take low fingers; with more than four strings to press the first finger lies flat."""
    assert add_fingers(Shape.parse(shape)).fingers == fingers


@pytest.mark.parametrize("shape", ["123456", "102345", "211222"])
def test_a_pin_for_more_than_four_fingers_is_one_sentence(shape: str) -> None:
    """Nobody could hold it."""
    with pytest.raises(BadShape) as caught:
        add_fingers(Shape.parse(shape))
    assert is_one_sentence(caught.value)


def test_a_wanted_top_note_leaves_the_shapes_that_have_it_on_top() -> None:
    """G 320003 and 320033 both end on G4; C ends on E4."""
    assert chosen("G", tops={"G": Note.parse("G")}) == [["320003", "320033"]]
    assert chosen("C", tops={0: Pitch.parse("E4")}) == [["x32010"]]


@pytest.mark.parametrize(
    ("top", "nearest"), [(Note.parse("F"), "E"), (Pitch.parse("G4"), "E4"), (Note.parse("B"), "E")]
)
def test_a_top_note_out_of_reach_names_the_nearest(top: Note | Pitch, nearest: str) -> None:
    """C x32010 has E4 on top and nothing else is known."""
    with pytest.raises(BadShape) as caught:
        chosen("C", tops={"C": top})
    assert is_one_sentence(caught.value)
    assert str(caught.value).endswith(f"is {nearest}.")


def test_a_chord_without_any_grip_is_one_sentence() -> None:
    """The sentence names the chord and what would help."""
    with pytest.raises(BadShape, match="no shape for Bm7b5") as caught:
        chosen("C Bm7b5")
    assert is_one_sentence(caught.value)


def test_a_finger_is_where_its_strings_are() -> None:
    """133211: the first finger from string 6 to string 1 on fret 1, the others on one string each."""
    assert touches(F_FULL) == {"1": (1, 6, 1), "2": (2, 3, 3), "3": (3, 5, 5), "4": (3, 4, 4)}
