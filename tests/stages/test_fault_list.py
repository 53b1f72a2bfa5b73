"""The list of faults: what was noted, with the cell of the sheet that mends it."""

from strainstudy.faults import FAULT_KINDS, Fault
from strainstudy.records import Sensor
from strainstudy.stages.fault_list import gains_named


def test_a_saturated_signal_names_the_sensor_whose_gain_is_too_high_and_its_cell():
    faults = [
        Fault("saturated", "x", "lower the gain", "throat", "T-1"),
        Fault("saturated", "x", None, "throat", "T-2"),
        Fault("jump", "y", None, "throat", "T-1"),
    ]
    found = gains_named({"a": faults}, {"T-1": Sensor("T-1", 3.3, 1e4, 1e4, 1e4, amplifier_gain=11.0)})["a"]
    assert [fault.what_to_do for fault in found] == [
        "lower the gain, and write the new one into sensors.tsv, column amplifier_gain, row of T-1 (now 11)",
        FAULT_KINDS["saturated"],
        FAULT_KINDS["jump"],
    ]
