"""Why the plan is as it is, in sentences that claim no more than was found: an effect with its limits beside it.

Sources: Czyż and others 2024 (Sci. Rep. 14:15974, 54 studies); Stambaugh 2011 (JRME 58:368-383); Carter & Grahn 2016
(Front. Psychol. 7:1251); Abushanab & Bishara 2013 (Mem. Cognit. 41:928-937); Wiseheart, D'Souza & Chae 2017 (PLoS ONE
12:e0182986); Simmons 2012 (JRME 59:357-368); Duke, Simmons & Cash 2009 (JRME 56:310-321); Henley 2001 (JRME 49).
"""

from __future__ import annotations

TURNS = (
    "Drills take turns. Mixed practice helped what stayed moderately over 54 studies, but hardly at all in applied"
    " settings (Czyż and others 2024). Of musicians some kept more the next day (Stambaugh 2011; Carter & Grahn 2016),"
    " and gaps of minutes made no difference in another study (Wiseheart and others 2017). Expect little of the order."
)
NIGHTS = (
    "What is new counts as kept only after a night, by a rule of ours: with 29 musicians accuracy rose when a day lay"
    " between, not minutes or six hours; speed rose with six hours too (Simmons 2012)."
)
CLEAN = (
    "Clean passes count, minutes do not: with 17 pianists the share of correct trials went with what stayed, time did"
    " not (Duke, Simmons & Cash 2009)."
)
FEELING = "How easy it felt misled the players who were asked (Abushanab & Bishara 2013); so passes come before words."
RAMPS = (
    "Between a steady climb, the final tempo and alternating tempos no significant difference was found with 60 players"
    " (Henley 2001): take what suits you."
)
FIGURES = "Steady tempo, recall and trouble are estimates from your passes, with a range; they can be wrong."

REASONS = (TURNS, NIGHTS, CLEAN, FEELING, RAMPS, FIGURES)
"""All of them, in the order they are best read."""
