"""What is said about looking after hands and ears. General information; a clinician's word goes before ours.

Sources: BAPAM (British Association for Performing Arts Medicine), "Ten top health tips for musicians" (a break of five
minutes each half hour, hard passages in the middle, never play in pain) and "Don't cramp your style" (warm up);
WHO-ITU H.870 (sound level); fact sheet on playing-related symptoms, University of Iowa (numbness, tingling).
"""

from __future__ import annotations

WARM_UP = "Warm up first: a few minutes of something easy, slow and soft."
STOP = "Stop at once on pain, numbness or tingling; do not play through it."
REST = "Rest your hands for five minutes in every half hour of playing."
LEVEL = "Keep the level low, above all in headphones: the coach cannot know how loud it is at your ear."
CLINICIAN = "If a symptom comes back or stays, see a doctor or a performing-arts clinician before you go on."
GENERAL = "This is general information, not medical advice."

CAUTIONS = (WARM_UP, STOP, REST, LEVEL, CLINICIAN, GENERAL)
"""All of them, in the order they are best read."""
