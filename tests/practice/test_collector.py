"""While a plan is made Python's search for dead values waits, and afterwards all is as it was before."""

import gc

import pytest

from coach.practice.collector import collector_waits


@pytest.fixture(autouse=True)
def _as_before():
    """The collector as these tests found it, whatever becomes of them."""
    was = gc.isenabled()
    yield
    (gc.enable if was else gc.disable)()


@pytest.mark.parametrize("searching", [True, False])
def test_the_search_waits_and_is_then_as_it_was(searching: bool) -> None:
    """Held off while the plan is made; going on afterwards only where it was going before."""
    (gc.enable if searching else gc.disable)()
    with collector_waits():
        assert not gc.isenabled()
    assert gc.isenabled() is searching


@pytest.mark.parametrize("searching", [True, False])
def test_a_plan_that_fails_leaves_the_search_as_it_was(searching: bool) -> None:
    """An error in the plan comes out as it is, and the search is not left held off."""
    (gc.enable if searching else gc.disable)()
    with pytest.raises(ZeroDivisionError), collector_waits():
        _ = 1 / 0
    assert gc.isenabled() is searching
