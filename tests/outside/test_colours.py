"""The colours of the screens against the published set and the published rule of contrast.

Okabe, M. & Ito, K. (2008), "Color Universal Design (CUD): how to make figures and presentations that are friendly
to colorblind people", table of eight colours in RGB (from memory).
W3C, Web Content Accessibility Guidelines 2.1, success criterion 1.4.3 and the definitions of relative luminance
and contrast ratio (from memory): at least 4.5 : 1 for text, 3 : 1 for large text.
"""

from __future__ import annotations

import pytest
from textual.theme import Theme

from coach.screens.shared import theme

OKABE_ITO = {
    "ORANGE": (230, 159, 0),
    "SKY": (86, 180, 233),
    "GREEN": (0, 158, 115),
    "YELLOW": (240, 228, 66),
    "BLUE": (0, 114, 178),
    "VERMILLION": (213, 94, 0),
    "PURPLE": (204, 121, 167),
}


def rgb(colour: str) -> tuple[int, int, int]:
    """`#E69F00` as three numbers."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.1 defines it."""
    parts = [c / 255 for c in rgb(colour)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio as WCAG 2.1 defines it."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_rule_of_contrast_itself() -> None:
    """Black on white is 21 : 1 and a colour on itself 1 : 1, as the definition says."""
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)
    assert contrast("#777777", "#777777") == 1
    assert contrast("#777777", "#FFFFFF") == pytest.approx(4.48, abs=0.01)  # the well-known grey that just fails


@pytest.mark.parametrize("name", OKABE_ITO)
def test_the_published_colours(name: str) -> None:
    """Each colour taken from the set is the published one."""
    assert rgb(getattr(theme, name)) == OKABE_ITO[name]


@pytest.mark.parametrize("look", [theme.EVENING, theme.MORNING], ids=lambda t: t.name)
def test_everything_can_be_read(look: Theme) -> None:
    """Text, chord names, thumb figures and warnings stand out from every ground they are put on."""
    for ground in (look.background, look.surface, look.panel):
        assert ground is not None
        assert look.foreground is not None
        assert contrast(look.foreground, ground) >= 7
        for colour in (look.primary, look.secondary, look.accent, look.warning):
            assert colour is not None
            # Bold and large on the stage, so the rule for large text would do; we ask nearly the whole.
            assert contrast(colour, ground) >= 3
    # A thumb's figure is the ground's colour on the primary one.
    assert contrast(look.background or "", look.primary) >= 4.5
