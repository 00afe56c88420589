"""Which fingers can hold what, and what it costs."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.guitar.bass import Bass
from coach.guitar.cost import hold_parts, order_parts, picking_parts, place_parts
from coach.guitar.fingering import MUTED, OPEN, Fingering, FretPattern, find_fingerings
from coach.guitar.shape import Shape

PATTERNS = st.tuples(*[st.integers(MUTED, 3)] * 6).filter(lambda p: 0 in p)


def _pattern(shape: str) -> FretPattern:
    """A shape's frets as counted from its lowest."""
    frets = Shape.parse(shape).frets
    lowest = min((f for f in frets if f), default=1)
    return tuple(MUTED if f is None else OPEN if f == 0 else f - lowest for f in frets)


def _ways(shape: str, *, thumb: bool = False, barres: str = "full") -> list[str]:
    return [hold.fingers for hold in find_fingerings(_pattern(shape), thumb, barres)]


# common practice, no source: how these are held.
@pytest.mark.parametrize(
    ("shape", "fingers"),
    [
        ("x32010", ".32.1."),
        ("320003", "21...3"),
        ("xx0232", "...132"),
        ("x02210", "..231."),
        ("x21202", ".213.4"),
        ("x32310", ".3241."),
        ("133211", "134211"),
        ("xx3211", "..3211"),
        ("x24432", ".13421"),
        ("x13331", ".12341"),
        ("330013", "23..14"),
        ("3x0003", "1....2"),
        ("000000", "......"),
    ],
)
def test_the_cheapest_way_is_how_it_is_held(shape: str, fingers: str) -> None:
    """The first of all ways to hold a common shape is the usual one."""
    assert _ways(shape)[0] == fingers


@pytest.mark.parametrize(
    ("shape", "fingers"),
    [("022000", ".23..."), ("320033", "21..34"), ("x02220", "..123."), ("xx0233", "...134"), ("x32033", ".21.34")],
)
def test_other_usual_ways_are_among_them(shape: str, fingers: str) -> None:
    """What players also do is a way to hold the shape, though not the cheapest by these sums."""
    assert fingers in _ways(shape)


def test_five_frets_of_their_own_need_five_fingers() -> None:
    """x12345: no hand has them. Six strings at one fret need one finger, laid flat."""
    assert _ways("x12345") == []
    assert _ways("555555")[0] == "111111"
    assert _ways("555555", barres="none") == []


def test_fingers_do_not_cross() -> None:
    """Two strings at frets 1 and 2: the finger at fret 2 is always the higher one."""
    assert set(_ways("xx12xx")) == {"..12..", "..23..", "..34..", "..13..", "..24..", "..14.."}
    assert {tuple(sorted(way.replace(".", ""))) for way in _ways("xx21xx")} == {
        tuple(sorted(way.replace(".", ""))) for way in _ways("xx12xx")
    }
    assert all(way[2] > way[3] for way in _ways("xx21xx"))


def test_at_one_fret_the_lower_string_has_the_lower_finger() -> None:
    """A x02220 may be 1 2 3 or 2 3 4, never 3 2 1."""
    assert {way for way in _ways("x02220") if len(set(way)) == 4} == {"..123.", "..124.", "..134.", "..234."}


@pytest.mark.parametrize(
    ("shape", "why"),
    [
        ("2x2222", "a muted string under the barre"),
        ("202222", "an open string under the barre"),
        ("212222", "a lower fret under the barre"),
    ],
)
def test_a_barre_has_nothing_lower_open_or_muted_under_it(shape: str, why: str) -> None:
    """From string 6 to string 1 in one: not with that string between."""
    fingerings = find_fingerings(_pattern(shape), False, "full")
    assert not any(f.barre and f.barre[1:] == (6, 1) for f in fingerings), why


def test_a_barre_does_not_leave_open_what_it_lies_across() -> None:
    """x02220 is no barre, the finger would lie on string 1; x0222x is one."""
    assert all(hold.barre is None for hold in find_fingerings(_pattern("x02220"), False, "full"))
    assert "..111." in _ways("x0222x")


def test_small_barres_cover_three_strings() -> None:
    """xx0222 is small, 133211 is not; a ring finger barre is small as well."""
    assert "...111" in _ways("xx0222", barres="small")
    assert _ways("133211", barres="small") == []
    assert ".1333." in _ways("x1333x", barres="small")
    assert not any("3333" in way for way in _ways("x13333"))


def test_the_thumb_is_for_string_six_alone_and_stays_near() -> None:
    """F with the thumb 1x3211; never on string 5; not two frets from the lowest finger."""
    assert "T.3211" in _ways("1x3211", thumb=True)
    assert not any("T" in way for way in _ways("1x3211"))
    assert not any("T" in way[1:] for way in _ways("x32010", thumb=True))
    assert "T...1." in _ways("2xxx1x", thumb=True)
    assert not any("T" in way for way in _ways("3xxx1x", thumb=True))


def test_the_thumb_and_a_full_barre_exclude_each_other() -> None:
    """Over the neck the hand has no finger flat across five strings."""
    for shape in ("133211", "111211", "113331"):
        over = [hold for hold in find_fingerings(_pattern(shape), True, "full") if "T" in hold.fingers]
        assert all(hold.barre is None or hold.barre[1] - hold.barre[2] < 3 for hold in over), shape
    assert "T34211" in _ways("133211", thumb=True)
    assert "111211" in _ways("111211", thumb=True)


@given(PATTERNS, st.booleans(), st.sampled_from(["full", "small", "none"]))
def test_every_way_is_a_way(pattern: FretPattern, thumb: bool, barres: str) -> None:
    """Every fretted string has a finger and no other; each finger has one fret; none crosses; cheapest first."""
    ways = find_fingerings(pattern, thumb, barres)
    assert [round(w.cost, 6) for w in ways] == sorted(round(w.cost, 6) for w in ways)
    for way in ways:
        assert all((mark == ".") == (fret < 0) for mark, fret in zip(way.fingers, pattern, strict=True))
        frets = {m: {f for n, f in zip(way.fingers, pattern, strict=True) if n == m} for m in set(way.fingers) - {"."}}
        assert all(len(held) == 1 for held in frets.values())
        fingers = sorted((m, *held) for m, held in frets.items() if m != "T")
        assert [fret for _, fret in fingers] == sorted(fret for _, fret in fingers)
        _barre_is_told(way)


def _barre_is_told(way: Fingering) -> None:
    flat = [m for m in set(way.fingers) - {"."} if way.fingers.count(m) > 1]
    assert len(flat) == (way.barre is not None)
    if way.barre:
        held = [6 - k for k, m in enumerate(way.fingers) if m == flat[0]]
        assert way.barre[1:] == (max(held), min(held))


# What it costs --------------------------------------------------------------------------------


@given(st.floats(0, 90), st.floats(1, 10), st.integers(1, 12))
def test_a_longer_stretch_or_a_higher_place_costs_more(stretch: float, more: float, fret: int) -> None:
    """Position and spread as Sayegh (1989) and Heijink & Meulenbroek (2002) count them: both only ever add."""
    def cost(mm: float, lowest: int) -> float:
        return sum(points for _, points in place_parts(mm, 95.0, lowest))

    assert cost(stretch + more, fret) > cost(stretch, fret)
    assert cost(stretch, fret + 1) > cost(stretch, fret)


def test_a_finger_a_barre_and_the_thumb_each_cost() -> None:
    """One finger more, a barre, a wider one, another finger flat, the thumb: each is dearer than without."""
    def cost(fingers: list[tuple[int, int]], barre: tuple[int, int] | None = None, thumb: bool = False) -> float:
        return sum(points for _, points in hold_parts(fingers, barre, thumb))

    assert cost([(1, 0)]) < cost([(1, 0), (2, 1)]) < cost([(1, 0), (2, 1), (3, 2)])
    assert cost([(1, 0)]) < cost([(1, 0)], (1, 2)) == cost([(1, 0)], (1, 3)) < cost([(1, 0)], (1, 4))
    assert cost([(1, 0)], (1, 3)) < cost([(3, 0)], (3, 3)) < cost([(4, 0)], (4, 3))
    assert cost([(1, 0)]) < cost([(1, 0)], thumb=True)


def test_fingers_want_a_fret_each() -> None:
    """One, two, three at frets 1, 2, 3 cost nothing more; drawn apart costs more than pressed together."""
    spread = "fingers off their usual places"
    assert spread not in dict(hold_parts([(1, 0), (2, 1), (3, 2)], None, False))
    apart = dict(hold_parts([(1, 0), (2, 2)], None, False))[spread]
    together = dict(hold_parts([(1, 0), (2, 0)], None, False))[spread]
    assert apart > together > 0


def test_the_picking_hand_wants_three_bass_roles_and_three_trebles() -> None:
    """G 320003 leaves nothing to wish for; each thing that is lacking costs."""
    assert picking_parts((6, 5, 4, 3, 2, 1), Bass(6, 4, 5), fifth_under_root=False) == ()
    lacks = {
        "silent bass string": ((5, 4, 3, 2, 1), Bass(5, 4, 6)),
        "treble string missing": ((6, 5, 4, 3, 2), Bass(6, 4, 5)),
        "muted string inside": ((6, 5, 3, 2, 1), Bass(6, 3, 5)),
        "alternate bass on string 3": ((6, 5, 3, 2, 1), Bass(6, 3, 5)),
        "no alternate bass": ((6, 3, 2, 1), Bass(6, 6, 6)),
        "no fifth for the thumb": ((6, 4, 3, 2, 1), Bass(6, 4, 6)),
    }
    for why, (sounding, bass) in lacks.items():
        assert why in dict(picking_parts(sounding, bass, fifth_under_root=False))
    assert "fifth under the root" in dict(picking_parts((5, 4, 3, 2, 1), Bass(4, 3, 5), fifth_under_root=True))


def test_a_shape_of_the_middle_costs_by_what_it_lacks() -> None:
    """Two muted strings inside cost twice one."""
    single = picking_parts((6, 5, 3, 2, 1), Bass(6, 3, 5), fifth_under_root=False)
    double = picking_parts((6, 3, 2, 1), Bass(6, 3, 6), fifth_under_root=False)
    assert dict(double)["muted string inside"] == 2 * dict(single)["muted string inside"]


def test_strings_should_rise_in_pitch() -> None:
    """C x32010 rises all the way; x35050 has two unisons, 878080 turns back: rolls lose their order."""
    def heard(shape: str) -> list[int]:
        parsed = Shape.parse(shape)
        return [parsed.midi(s) or 0 for s in parsed.sounding]

    assert order_parts(heard("x32010")) == ()
    unison = dict(order_parts(heard("x35050")))["strings that do not rise in pitch"]
    turned = dict(order_parts(heard("878080")))["strings that do not rise in pitch"]
    assert 0 < unison < turned
