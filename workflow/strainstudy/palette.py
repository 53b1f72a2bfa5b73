"""The colours of every page and figure: one colour means one thing.

They are those of Okabe & Ito (2008, *Color Universal Design*), told apart with the common kinds of colour blindness.
"""

from __future__ import annotations

from typing import Final

__all__ = [
    "BLACK", "BLUE", "GREEN", "GREY", "KIND_COLOURS", "ORANGE", "POINT_COLOURS", "PURPLE", "SIDE_COLOURS", "SKY",
    "STATE_COLOURS", "VERMILION", "WHITE",
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
SIDE_COLOURS: Final = {"left": BLUE, "right": VERMILION}
POINT_COLOURS: Final = {"left_knee": BLUE, "right_knee": VERMILION, "throat": GREEN}
STATE_COLOURS: Final = {
    "rest": "#C9C9C9", "normal_gait": SKY, "limping_gait": ORANGE, "turn": PURPLE, "gait": "#A9D5EE",
    "knee_bend": GREEN, "other": "#ECECEC",
}  # fmt: skip
KIND_COLOURS: Final = {
    "swallow": GREEN, "knee_bend": GREEN, "speech": ORANGE, "cough": VERMILION, "head_movement": PURPLE,
    "artefact": GREY,
}  # fmt: skip
"""Of intervals that are no states."""
