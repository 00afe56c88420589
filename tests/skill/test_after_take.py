"""What a take has shown, as the page of the verdict tells it."""

from coach.skill.remedies import Finding, describe_take
from coach.skill.steady_tempo import SteadyTempo
from tests.skill.test_remedies import TROUBLE


def steady(bpm: float) -> SteadyTempo:
    """A steady tempo with a range of four per cent either way."""
    return SteadyTempo(bpm, bpm * 0.96, bpm * 1.04, 24, bpm)


def test_the_steady_tempo_before_and_now() -> None:
    """Risen, the same, or known for the first time; nothing while it cannot be told."""
    assert describe_take(steady(82), steady(84), None) == ("steady at 84 bpm (81 to 87), was 82",)
    assert describe_take(steady(84.2), steady(84.4), None) == ("steady at 84 bpm (81 to 88), as before",)
    assert describe_take(None, steady(84), None) == ("steady at 84 bpm (81 to 87), known from now on",)
    assert describe_take(None, None, None) == ()


def test_the_trouble_comes_with_its_one_remedy() -> None:
    """Where stumbles gather, in the words of the plan, and what to try."""
    found = Finding("landing", TROUBLE, remedy="corner")
    told = describe_take(None, None, found)
    assert told[0].startswith("stumbles gather at bar 3, beat 1")
    assert told[1].startswith("try: that corner alone")
    assert describe_take(None, None, Finding("landing")) == ()
