"""How people walk: healthy, limping by several mechanisms, turning.

In: draws, a side, a mechanism, a severity. Out: a `Gait`, from which the knee model makes strides.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

__all__ = ["MECHANISMS", "OTHER_SIDE", "Gait", "Leg", "healthy_gait", "limp", "turning"]

MECHANISMS: Final = ("stiff", "timing", "both", "guarded")
OTHER_SIDE: Final = {"left": "right", "right": "left"}


@dataclass(frozen=True)
class Leg:
    """One leg's knee in walking: angles in degrees of flexion, times as fractions of its stride.

    ``contact_dip_deg`` is how far the knee straightens before contact, below its minimum in stance;
    ``contact_shift`` how much later (fraction of the stride) the foot lands than on the reference curve, and
    ``habit_deg`` cosine and sine amplitudes of the first harmonics by which a person's curve differs from it.
    """

    swing_peak_deg: float = 60.0
    loading_deg: float = 16.0
    minimum_deg: float = 5.0
    stance_fraction: float = 0.62
    peak_fraction: float = 0.72
    contact_dip_deg: float = 3.0
    contact_shift: float = 0.0
    habit_deg: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class Gait:
    """One way of walking.

    Parameters
    ----------
    stride_time_s, stride_time_cv : float
        Mean, and relative spread from stride to stride.
    step_phase, step_phase_sd : float
        Contact of the right foot as a fraction of the left foot's stride, and its spread.
    swing_peak_sd_deg, loading_sd_deg : float
        Spread of the peaks from stride to stride.
    left, right : Leg
    limping_side : str, optional
        The side that limps; none is normal gait.
    """

    stride_time_s: float = 1.08
    stride_time_cv: float = 0.022
    step_phase: float = 0.5
    step_phase_sd: float = 0.010
    swing_peak_sd_deg: float = 1.8
    loading_sd_deg: float = 1.3
    left: Leg = field(default_factory=Leg)
    right: Leg = field(default_factory=Leg)
    limping_side: str | None = None

    @property
    def trial_type(self) -> str:
        """The state's word."""
        return "normal_gait" if self.limping_side is None else "limping_gait"

    def leg(self, side: str) -> Leg:
        """Return the leg of a side."""
        return self.left if side == "left" else self.right

    def with_leg(self, side: str, leg: Leg) -> Gait:
        """Return the same way of walking with another leg on one side."""
        return replace(self, left=leg) if side == "left" else replace(self, right=leg)


def healthy_gait(rng: np.random.Generator, *, stride_time_s: float | None = None) -> Gait:
    """Draw a healthy person's gait: small differences between people, smaller ones between legs.

    Spread between people about 5 degrees through the cycle (Winter; Kadaba 1990, from memory); stride time
    1.08 (SD 0.09) s (Frenkel-Toledo S et al. 2005, J NeuroEng Rehabil 2:23, Table 2), its CV between the 1.94
    (SD 0.36) % there and the 2.80 (SD 0.81) % of Gassner H et al. 2020, J Neurol 267(6):1594-1601.
    """
    stride = 1.08 + 0.07 * np.clip(rng.standard_normal(), -2, 2) if stride_time_s is None else stride_time_s
    peak = 60 + 4.0 * np.clip(rng.standard_normal(), -2, 2)
    minimum = 5 + 2.5 * np.clip(rng.standard_normal(), -2, 2)
    # Slow walkers load the knee little: the loading wave nearly disappears at very slow speeds.
    wave = 12 * rng.uniform(0.4, 1.1) * np.clip((1.7 - stride) / 0.6, 0.15, 1)
    dip = rng.uniform(2, 7)
    order = np.arange(1, 5)[:, None]
    habit, shift = rng.normal(0, 1.6, (4, 2)) / order, rng.normal(0, 0.010)
    legs = []
    for _ in range(2):
        legs.append(
            Leg(
                float(peak + rng.normal(0, 1.5)),
                float(minimum + wave + rng.normal(0, 1.0)),
                float(minimum + rng.normal(0, 1.0)),
                float(0.625 + rng.normal(0, 0.008)),
                float(0.722 + rng.normal(0, 0.006)),
                float(np.clip(dip + rng.normal(0, 0.8), 1, 9)),
                float(shift + rng.normal(0, 0.005)),
                tuple((float(c), float(s)) for c, s in habit + rng.normal(0, 0.6, (4, 2)) / order),
            )
        )
    return Gait(
        float(stride),
        float(np.clip(rng.normal(0.0245, 0.006), 0.012, 0.040)),
        float(0.5 + np.clip(rng.normal(0, 0.006), -0.015, 0.015)),
        float(rng.uniform(0.009, 0.015)),
        float(rng.uniform(0.7, 1.7)),
        float(rng.uniform(1.0, 1.6)),
        left=legs[0],
        right=legs[1],
    )


def limp(gait: Gait, side: str, mechanism: str, severity: float) -> Gait:
    """Give a gait a limp.

    Parameters
    ----------
    gait : Gait
    side : {"left", "right"}
        The limping side.
    mechanism : {"stiff", "timing", "both", "guarded"}
        ``stiff``: the knee hardly flexes in swing and peaks early; ``timing``: short stance and late contact on
        the limping side, flexion as before; ``both``; ``guarded``: the knee is kept bent in stance and moves
        less.
    severity : float
        0 (none) to 1 (severe).

    Returns
    -------
    Gait
    """
    if mechanism not in MECHANISMS:
        raise ValueError(f"mechanism must be one of {', '.join(MECHANISMS)}, not {mechanism!r}")
    own, other = gait.leg(side), gait.leg(OTHER_SIDE[side])
    # A short stance on one leg is the other's long one; a mere stiff knee shifts the steps a little too.
    shift = {"stiff": 0.03, "timing": 0.105, "both": 0.09, "guarded": 0.05}[mechanism] * severity
    if mechanism in ("stiff", "both"):
        own = replace(
            own,
            swing_peak_deg=own.minimum_deg + (own.swing_peak_deg - own.minimum_deg) * (1 - 0.72 * severity),
            loading_deg=own.minimum_deg + (own.loading_deg - own.minimum_deg) * (1 - 0.8 * severity),
            peak_fraction=own.peak_fraction - 0.065 * severity,
            contact_dip_deg=own.contact_dip_deg * (1 - 0.4 * severity),
        )
        other = replace(other, swing_peak_deg=other.swing_peak_deg - 4 * severity)
    elif mechanism == "guarded":
        own = replace(
            own,
            minimum_deg=own.minimum_deg + 10 * severity,
            loading_deg=own.loading_deg + 6 * severity,
            swing_peak_deg=own.swing_peak_deg - 10 * severity,
        )
    own = replace(own, stance_fraction=own.stance_fraction - 0.6 * shift)
    other = replace(other, stance_fraction=other.stance_fraction + 0.6 * shift)
    sign = 1 if side == "right" else -1
    limping = replace(
        gait,
        step_phase=gait.step_phase + sign * shift,
        stride_time_s=gait.stride_time_s * (1 + 0.08 * severity),
        stride_time_cv=gait.stride_time_cv + 0.018 * severity,
        step_phase_sd=gait.step_phase_sd + 0.006 * severity,
        swing_peak_sd_deg=gait.swing_peak_sd_deg + 2.0 * severity,
        limping_side=side,
    )
    return limping.with_leg(side, own).with_leg(OTHER_SIDE[side], other)


def turning(gait: Gait, inner: str) -> Gait:
    """Turn on the spot: slower and shallower steps, shallowest on the inner side."""
    turned = replace(
        gait,
        stride_time_s=1.12 * gait.stride_time_s,
        stride_time_cv=2 * gait.stride_time_cv,
        step_phase=gait.step_phase + (0.03 if inner == "left" else -0.03),
        step_phase_sd=2 * gait.step_phase_sd,
        swing_peak_sd_deg=2 * gait.swing_peak_sd_deg,
    )
    for side in OTHER_SIDE:
        leg = turned.leg(side)
        range_share = 0.68 if side == inner else 0.85
        turned = turned.with_leg(
            side,
            replace(
                leg,
                swing_peak_deg=leg.minimum_deg + range_share * (leg.swing_peak_deg - leg.minimum_deg),
                loading_deg=leg.minimum_deg + 0.7 * (leg.loading_deg - leg.minimum_deg),
                stance_fraction=leg.stance_fraction + 0.02,
                peak_fraction=leg.peak_fraction + 0.01,
            ),
        )
    return turned
