"""The colours of every page and figure: one colour means one thing.

Blue and vermilion are the left and the right side, sky and orange normal and limping gait, green the throat and its
swallows; what has no side, state or kind is `PLAIN`, what it is held against `GREY`, and what asks to be looked at
`ALERT`, always with a diamond. The first nine are those of Okabe & Ito (2008, *Color Universal Design*), told apart
with the common kinds of colour blindness; the others are ours, and differ from them in lightness.
"""

from __future__ import annotations

from typing import Final

__all__ = [
    "ALERT", "BLACK", "BLUE", "BROWN", "GREEN", "GREY", "KIND_COLOURS", "ORANGE", "PLAIN", "POINT_COLOURS", "PURPLE",
    "SIDE_COLOURS", "SKY", "STATE_COLOURS", "VERMILION", "WHITE",
]  # fmt: skip

BLACK: Final = "#000000"
WHITE: Final = "#FFFFFF"
ORANGE: Final = "#E69F00"
SKY: Final = "#56B4E9"
GREEN: Final = "#009E73"
BLUE: Final = "#0072B2"
VERMILION: Final = "#D55E00"
PURPLE: Final = "#CC79A7"
GREY: Final = "#8A8A8A"
YELLOW: Final = "#F0E442"
BROWN: Final = "#8A6D3B"
VIOLET: Final = "#5E3C99"
LAVENDER: Final = "#B2ABD2"
PLAIN: Final = "#3F4A54"
"""A number that belongs to no side, state or kind of event."""
ALERT: Final = "#9E0142"
"""What asks to be looked at."""
SIDE_COLOURS: Final = {"left": BLUE, "right": VERMILION}
POINT_COLOURS: Final = {"left_knee": BLUE, "right_knee": VERMILION, "throat": GREEN}
STATE_COLOURS: Final = {
    "rest": "#C9C9C9", "normal_gait": SKY, "limping_gait": ORANGE, "turn": PURPLE, "gait": "#A9D5EE",
    "knee_bend": BROWN, "other": "#ECECEC",
}  # fmt: skip
KIND_COLOURS: Final = {
    "swallow": GREEN, "knee_bend": BROWN, "speech": YELLOW, "cough": VIOLET, "head_movement": LAVENDER,
    "artefact": GREY,
}  # fmt: skip
"""Of intervals that are no states."""
