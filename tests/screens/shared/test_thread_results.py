"""What a thread brings for a page that is being left."""

from textual.app import App
from textual.screen import Screen
from textual.widgets import Static

from coach.screens.shared.thread_results import stands


class Page(Screen[None]):
    """A page with a part."""

    def compose(self):
        """One line."""
        yield Static("a line", id="line")


async def test_a_page_that_is_being_left_stands_no_more() -> None:
    """It loses its parts before it is unmounted: whatever comes for it in between would not find them."""
    async with App[None]().run_test() as pilot:
        page = Page()
        assert not stands(page)
        await pilot.app.push_screen(page)
        assert stands(page)
        going = page.remove()
        assert page.is_mounted
        assert not stands(page)
        await going
        assert not stands(page)
