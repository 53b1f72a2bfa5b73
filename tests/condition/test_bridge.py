"""The bridge against circuit algebra and classroom problems."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from strainstudy.condition.bridge import ASSUMED_EQUAL_ARMS, Bridge, resistance, volts
from strainstudy.condition.response import relative_change, strain


def quarter(ohm=120.0, excitation=1.0, **more):
    return Bridge.of(excitation_v=excitation, r1_ohm=ohm, r2_ohm=ohm, r3_ohm=ohm, **more)


def mv_per_v(gauge_factor, strain_fraction):
    return 1e3 * float(volts(120.0 * (1 + gauge_factor * strain_fraction), quarter()))


@pytest.mark.parametrize(
    ("gauge_factor", "strain_fraction", "expected"),
    [
        (2, 0.001, 0.499500),
        (2, 0.005, 2.48756),
        (2, 0.01, 4.95050),
        (2, 0.10, 45.4545),
        (2, 0.30, 115.385),
        (2, 0.50, 166.667),
        (5, 0.10, 100.000),
        (5, 0.50, 277.778),
        (10, 0.50, 357.143),
    ],
)
def test_quarter_bridge_gives_the_exact_output(gauge_factor, strain_fraction, expected):
    """Circuit algebra: V/Vex = x / (4 + 2x) with x = GF * strain; digits worked out from it."""
    assert mv_per_v(gauge_factor, strain_fraction) == pytest.approx(expected, rel=5e-6)


def test_a_thousand_microstrain_at_gauge_factor_two_is_half_a_millivolt_per_volt():
    """Number every strain gauge handbook prints; the exact value is 0.1 % below it."""
    assert mv_per_v(2, 0.001) == pytest.approx(0.5, rel=0.0011)


@pytest.mark.parametrize(("x", "shortfall"), [(0.5, 0.20), (2.5, 5 / 9), (5.0, 5 / 7)])
def test_the_linear_formula_falls_short_by_x_over_two_plus_x(x, shortfall):
    """Circuit algebra; for elastomer strains the linear reading loses 20 to 71 %, the exact inverse nothing."""
    output = volts(120.0 * (1 + x), quarter())
    assert 1 - 4 * output / x == pytest.approx(shortfall)
    ohm, _ = resistance(output, quarter())
    assert relative_change(ohm, 120.0) == pytest.approx(x, rel=1e-12)


def test_classroom_bridge_of_330_ohm():
    """Problem: 330 ohm bridge at 10 V reads 5 mV with GF 2; linear 0.66 ohm and 0.001, exact as computed here."""
    ohm, _ = resistance(np.array([5.0]), quarter(330.0, 10.0), unit="mV")
    assert ohm[0] - 330 == pytest.approx(0.66066, abs=5e-6)
    assert strain(relative_change(ohm, 330.0), 2.0)[0] == pytest.approx(0.0010010, abs=5e-8)


def test_classroom_bridge_of_120_ohm():
    """Problem: 2 V, 12.5 mV, gauge factor 2.09; linear 0.0119617, exact 0.0121131 (computed)."""
    ohm, _ = resistance(np.array([0.0125]), quarter(120.0, 2.0))
    assert strain(relative_change(ohm, 120.0), 2.09)[0] == pytest.approx(0.0121131, abs=5e-8)


@given(
    st.floats(1.0, 1e6),
    st.floats(10.0, 1e6),
    st.floats(0.01, 0.99),
    st.floats(0.1, 500.0),
    st.sampled_from([1, -1]),
    st.sampled_from([3.3, -3.3]),
)
def test_resistance_undoes_volts(ohm, r3, reference, gain, polarity, excitation):
    bridge = Bridge(excitation, r3, reference, gain, polarity)
    back, impossible = resistance(volts(np.array([ohm]), bridge), bridge)
    assert not impossible[0]
    assert back[0] == pytest.approx(ohm, rel=1e-6 * max(1.0, ohm / r3))


def test_a_trimmed_bridge_reads_zero_at_rest_and_inverts_there():
    bridge = Bridge.of(excitation_v=5.0, r3_ohm=10_000.0, rest_ohm=8_000.0, amplifier_gain=10.0)
    assert bridge.notes == ()
    assert volts(8_000.0, bridge) == pytest.approx(0.0)
    ohm, _ = resistance(np.array([0.0, 1.0]), bridge)
    assert ohm[0] == pytest.approx(8_000.0)
    assert volts(ohm[1], bridge) == pytest.approx(1.0)


def test_a_trimmed_bridge_without_rest_resistance_assumes_equal_arms_and_says_so():
    bridge = Bridge.of(excitation_v=5.0, r3_ohm=10_000.0)
    assert bridge.reference == 0.5
    assert bridge.notes == (ASSUMED_EQUAL_ARMS,)


def test_a_wrongly_assumed_rest_resistance_scales_relative_changes_by_a_nearly_constant_factor():
    true = Bridge.of(excitation_v=5.0, r3_ohm=10_000.0, rest_ohm=7_000.0)
    x = np.array([0.02, 0.05, 0.1, 0.2, 0.3])
    ohm, _ = resistance(volts(7_000.0 * (1 + x), true), Bridge.of(excitation_v=5.0, r3_ohm=10_000.0))
    factor = relative_change(ohm, 10_000.0) / x
    assert np.ptp(factor) < 0.06 * factor.mean()


def test_output_that_no_resistance_can_give_is_marked_and_not_clipped():
    bridge = quarter(120.0, 1.0)
    ohm, impossible = resistance(np.array([-0.5, -0.51, 0.0, 0.499, 0.5, np.nan]), bridge)
    assert impossible.tolist() == [True, True, False, False, True, False]
    assert np.isnan(ohm).tolist() == [True, True, False, False, True, True]


@pytest.mark.parametrize("ohm", [60.0, 119.0, 120.0, 180.0, 900.0])
def test_a_negative_supply_turns_the_sign_of_the_output_and_is_undone_exactly(ohm):
    """Formula of the interface: V_out = gain * polarity * Vex * (Rx / (r3 + Rx) - r2 / (r1 + r2)), by hand."""
    bridge = Bridge.of(excitation_v=-5.0, r1_ohm=200.0, r2_ohm=100.0, r3_ohm=120.0, amplifier_gain=10.0, polarity=-1)
    output = 10.0 * -1 * -5.0 * (ohm / (120.0 + ohm) - 100.0 / 300.0)
    assert float(volts(ohm, bridge)) == pytest.approx(output, rel=1e-12)
    back, impossible = resistance(np.array([output]), bridge)
    assert not impossible[0]
    assert back[0] == pytest.approx(ohm, rel=1e-12)


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ({"excitation_v": None, "r3_ohm": 1.0}, "needs excitation_v and r3_ohm"),
        ({"excitation_v": 1.0, "r3_ohm": 1.0, "r2_ohm": 1.0}, "without r1_ohm"),
        ({"excitation_v": 0.0, "r3_ohm": 1.0}, "excitation_v and amplifier_gain not 0"),
        ({"excitation_v": 1.0, "r3_ohm": 1.0, "polarity": 0}, "polarity 1 or -1"),
    ],
)
def test_an_incomplete_bridge_is_refused_in_words(row, words):
    with pytest.raises(ValueError, match=words):
        Bridge.of(**row)
