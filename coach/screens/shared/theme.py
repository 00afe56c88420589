"""The look: a dark evening ground and colours from the published colour-blind-safe set.

Okabe & Ito (2008), "Color Universal Design": orange E69F00, sky blue 56B4E9, bluish green 009E73,
yellow F0E442, blue 0072B2, vermillion D55E00, reddish purple CC79A7. Nothing is told by colour alone.
"""

from __future__ import annotations

from textual.theme import Theme

ORANGE, SKY, GREEN, YELLOW = "#E69F00", "#56B4E9", "#009E73", "#F0E442"
BLUE, VERMILLION, PURPLE = "#0072B2", "#D55E00", "#CC79A7"

EVENING = Theme(
    name="evening",
    primary=ORANGE,
    secondary=SKY,
    accent=YELLOW,
    success=GREEN,
    warning=YELLOW,
    error=VERMILLION,
    foreground="#E8E6E1",
    background="#10151C",
    surface="#161D26",
    panel="#1E2732",
    dark=True,
)
MORNING = Theme(
    name="morning",
    primary="#8A5E00",
    secondary=BLUE,
    accent=VERMILLION,
    success=GREEN,
    warning=VERMILLION,
    error=VERMILLION,
    foreground="#1B1E22",
    background="#F6F3EC",
    surface="#EFEADF",
    panel="#ECE7DC",
    dark=False,
)
