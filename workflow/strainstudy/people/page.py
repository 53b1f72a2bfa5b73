"""The page of a person: HTML that holds its drawings and its style, loads nothing, and prints on two sheets.

In: `Facts`. Out: the text of the page.
"""

from __future__ import annotations

from functools import cache
from html import escape
from pathlib import Path
from typing import Final

from .. import __version__
from ..cautions import CAUTIONS
from .facts import NO_SESSION, Facts
from .markup import listed, safe
from .sections import bends, changes, curves, glance, sensors, shown_walks, swallows, walks

__all__ = ["page_text"]

_SECTIONS: Final = (
    ("In short", glance),
    ("Knee angle over the stride", curves),
    ("Walks", walks),
    ("Bends against known angles", bends),
    ("Swallows", swallows),
    ("Sensors worn, and what to look at", sensors),
    ("Changes between sessions", changes),
)

_AT_EASE_SESSIONS: Final = 2
"""Sessions up to which two sheets are enough in letters of the usual size (tried out)."""
_AT_EASE_WALKS: Final = 4
"""Likewise walks by state."""


@cache
def _style() -> str:
    return (Path(__file__).parent / "person.css").read_text(encoding="utf-8")


def _who(facts: Facts) -> str:
    person = facts.person
    side = {None: None, "none": "no side affected", "both": "both sides affected"}.get(
        person.affected_side, f"{person.affected_side} side affected"
    )
    age = None if person.age is None else f"{person.age:g} years"
    return ", ".join(word for word in (person.group, age, person.sex, side) if word)


def _sheets(facts: Facts, study: str) -> str:
    """Say on each printed sheet whose it is and what it is not."""
    words = f"{study}, {facts.person.participant_id}. Research tool, not a medical device, no diagnosis."
    quoted = words.replace("\\", "\\\\").replace('"', '\\"').replace("<", "\\3c ")
    look = "font: 7pt system-ui, Arial, sans-serif; color: #5d5d58;"
    return (
        "@page { size: A4; margin: 9mm 12mm 12mm; "
        f'@bottom-left {{ content: "{quoted}"; {look} }} '
        f'@bottom-right {{ content: "sheet " counter(page) " of " counter(pages); {look} }} }}'
    )


def page_text(facts: Facts, study: str) -> str:
    """Write the page of a person.

    Parameters
    ----------
    facts : Facts
    study : str
        Name of the study, for the title.

    Returns
    -------
    str
        The same bytes for the same facts.
    """
    who = facts.person.participant_id
    left_out = [session for session in facts.all_sessions if session not in facts.sessions]
    shown = ""
    if left_out:
        words = (
            f"{len(facts.sessions)} of {len(facts.all_sessions)} sessions are shown; in the tables: {listed(left_out)}."
        )
        shown = f'<p class="how">{escape(words)}</p>'
    if facts.all_sessions == [NO_SESSION]:
        shown = '<p class="how">The study names no sessions: all recordings stand as one.</p>'
    many = len(facts.sessions) > _AT_EASE_SESSIONS or len(shown_walks(facts)) > _AT_EASE_WALKS
    crowded = ' class="crowded"' if many else ""
    made = [(title, section(facts)) for title, section in _SECTIONS]
    body = "\n".join(f"<section><h2>{safe(title)}</h2>\n{text}</section>" for title, text in made if text)
    cautions = "".join(f"<li>{escape(caution.words)}</li>" for caution in CAUTIONS)
    return f"""<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<title>{safe(who)}: {safe(study)}</title>
<style>
{_style()}{_sheets(facts, study)}
</style>
</head>
<body{crowded}>
<header>
<h1>{safe(who)}<small>{safe(_who(facts))}</small></h1>
<p class="warning">Research tool. Not a medical device. No diagnosis: a clinician decides.</p>
<p class="screen"><a href="../report.html">Report of the whole study</a> \u00b7
<a href="../review.html">signals and labels</a></p>
{shown}
</header>
<main>
{body}
</main>
<section><h2>Cautions</h2>
<ul class="cautions">{cautions}</ul></section>
<footer><p>Study {safe(study)}. Made by strainstudy {__version__} from the tables of the results folder.</p></footer>
</body>
</html>
"""
