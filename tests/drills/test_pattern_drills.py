"""Drills stand on ladders: what a pattern grows from comes before it."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.drills.drill_id import Kind
from coach.drills.pattern_drills import Drill, Material, make_drills
from coach.errors import BadInput
from coach.music.meter import Meter
from tests.made_takes import MATERIALS, ladder

names = st.sampled_from("abcdefgh")
wild = st.dictionaries(names, st.tuples(st.none() | st.sampled_from("abcdefghxyz"), st.integers(0, 3)), max_size=8)


@given(wild)
def test_every_pattern_is_there_once_and_after_its_parent(tangle: dict[str, tuple[str | None, int]]) -> None:
    """Whatever grows from what, in circles or from nothing that exists, each pattern has its place, parents first."""
    drills = make_drills(Material(i, i, "4/4", 8, 4, p, (), hard) for i, (p, hard) in tangle.items())
    place = {d.id: n for n, d in enumerate(drills)}
    assert sorted(place) == sorted(tangle)
    for drill in drills:
        assert drill.grows_from is None or place[drill.grows_from] < place[drill.id]
        assert drill.grows_from in (None, tangle[drill.id][0])


@given(wild, st.randoms(use_true_random=False))
def test_the_order_does_not_hang_on_the_order_given(tangle, chance) -> None:
    """Files may be read in any order."""
    materials = [Material(i, i, "4/4", 8, 4, p, (), hard) for i, (p, hard) in tangle.items()]
    shuffled = list(materials)
    chance.shuffle(shuffled)
    assert make_drills(materials) == make_drills(shuffled)


def test_a_circle_is_opened_at_its_easiest_member() -> None:
    """Of three that grow from one another the easiest becomes the first rung."""
    circle = [("a", "c", 3.0), ("b", "a", 1.0), ("c", "b", 2.0)]
    drills = make_drills(Material(i, i, "4/4", 8, 4, p, (), hard) for i, p, hard in circle)
    assert [(d.id, d.grows_from) for d in drills] == [("b", None), ("c", "b"), ("a", "c")]


def test_a_family_is_named_after_its_lowest_rung() -> None:
    """All that grows from the landing walk is of its family; a waltz is of its own, also one that grows from it."""
    families = {d.id: d.family for d in ladder()}
    assert families["late-crossing"] == families["two-lamps"] == "landing-walk"
    assert families["slow-tide"] == "slow-tide"
    grown = Material("lantern-waltz", "Lantern waltz", "3/4", 6, 3, "landing-walk")
    assert {d.family for d in make_drills([*MATERIALS, grown]) if d.id == "lantern-waltz"} == {"lantern-waltz"}


def test_finer_slots_start_and_aim_slower() -> None:
    """The more slots a beat has the slower the aim, all within 60 to 140 bpm (common practice, no source)."""
    by_pace: dict[Fraction, Drill] = {d.slots_per_beat: d for d in ladder()}
    paces = sorted(by_pace)
    targets = [by_pace[p].target_bpm for p in paces]
    assert paces == [1, 2, 3, 4]
    assert targets == sorted(targets, reverse=True)
    assert len(set(targets)) == 4
    for drill in ladder():
        assert 60 <= drill.start_bpm < drill.target_bpm <= 140


def test_six_eight_is_three_slots_to_the_felt_beat() -> None:
    """Six slots in a bar of 6/8, two dotted quarters, are three to the beat."""
    assert Fraction(6, Meter.parse("6/8").beats) == 3
    assert {d.id: d for d in ladder()}["reed-bank"].slots_per_beat == 3


def test_steps_are_felt_and_not_a_leap() -> None:
    """Each drill's step is 1.5 to 5 % (Drake & Botte 1993); others are refused."""
    assert all(0.015 <= d.step_share <= 0.05 for d in ladder())
    for share in (0.01, 0.06):
        with pytest.raises(BadInput, match=r"1\.5 %"):
            Drill("a", "A", Kind.PATTERN, "a", "C", 100, 60, share, "a", None, Fraction(2), 1)


@pytest.mark.parametrize(
    "materials",
    [[MATERIALS[0], MATERIALS[0]], [Material("a", "A", "4/4", 0, 4)], [Material("a", "A", "4/4", 8, 0)]],
)
def test_bad_material_is_refused(materials: list[Material]) -> None:
    """Two of one id, or a pattern without slots or beats, is named."""
    with pytest.raises(BadInput):
        make_drills(materials)
