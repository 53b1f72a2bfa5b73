"""What every page says whatever the study: cautions, with what they rest on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

__all__ = ["CAUTIONS", "KNOWN_COVERAGE", "Caution"]

KNOWN_COVERAGE: Final = (
    "on 64 simulated people with 64 sensors intervals of 90 % held the true angle in 92 to 93 % of the samples of "
    "walks, in 88 to 91 % from 15 to 30 degrees; on 64 others with eight sensors in 84 to 85 %, in 76 to 79 % from "
    "15 to 30 degrees"
)
"""What docs/coverage.md found of the knee angle's interval; stands wherever the interval does."""


@dataclass(frozen=True)
class Caution:
    """A caution and its basis."""

    words: str
    basis: str


CAUTIONS: Final = (
    Caution(
        "Research tool. Not a medical device; not for diagnosis, screening or treatment. Nothing here is a diagnosis: "
        "a clinician decides.",
        "Regulation (EU) 2017/745, Article 2(1): the intended purpose decides",
    ),
    Caution(
        "Swallow counts do not show aspiration; a normal count does not mean safe swallowing. Do not use for diet or "
        "feeding decisions. Do not give thin liquids to people with suspected dysphagia without a clinician. Stop a "
        "drinking task on cough, wet voice or breathlessness, and note the residual volume.",
        "aspiration can be clinically silent; a timed water test is inappropriate in people who obviously aspirate "
        "(Nathadwarawala et al. 1992, J Neurol Neurosurg Psychiatry 55:822-825)",
    ),
    Caution(
        "Power body-worn electronics from a battery or a medically isolated supply, never while a mains-powered "
        "computer is galvanically connected without isolation.",
        "IEC 60601-1, patient leakage currents",
    ),
    Caution(
        "Skin: check for sensitivity to silicone, adhesive and carbon filler; limit wear time; remove on redness; "
        "not on broken skin; do not wrap the throat tightly.",
        "ISO 10993-10 and 10993-23, sensitisation and irritation",
    ),
    Caution(
        "Falls: simulated limping and deep knee bends need a clear floor and a spotter; stop on pain.",
        "study practice",
    ),
    Caution("Ethics approval and written informed consent come before recording.", "Declaration of Helsinki"),
    Caution(
        "Pseudonymised data only: keep the key apart, no names in file names, process locally. This page shows health "
        "data: hand it on only as the consent allows.",
        "Regulation (EU) 2016/679, Articles 4(5), 9 and 32",
    ),
)
