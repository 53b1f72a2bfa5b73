"""A small study folder without fault, as text, for tests that break it in one place."""

from __future__ import annotations

from pathlib import Path

__all__ = ["FILES", "write_study"]

FILES = {
    "participants.tsv": (
        "participant_id\tage\tsex\tgroup\taffected_side\n"
        "sub-01\t64\tfemale\tstroke\tleft\n"
        "sub-02\t59\tM\tcontrol\tnone\n"
    ),
    "sensors.tsv": (
        "sensor_id\texcitation_v\tr1_ohm\tr2_ohm\tr3_ohm\tamplifier_gain\tpolarity\trest_ohm\tgauge_length_mm\n"
        "S1\t3.3\t1000\tn/a\t1000\t10\t1\t980\t40\n"
        "S2\t3.3\t1000\t1000\t1000\t10\t-1\tn/a\tn/a\n"
    ),
    "recordings.tsv": (
        "recording_id\ttask\tfile\tparticipant_id\tsession_id\tsensor_id\tsampling_frequency\ttime_column\tshoes\n"
        "walk-01\twalk\traw/walk-01.csv\tsub-01\tses-1\tn/a\t100\ttime_s\ttrainers\n"
        "bend-01\tbend\traw/bend-01.csv\tsub-01\tses-1\tn/a\t100\ttime_s\tn/a\n"
        "walk-02\twalk\traw/walk-02.edf\tsub-02\tses-1\tn/a\tn/a\tn/a\tbarefoot\n"
        "stretch-S1\tstretch\traw/stretch-S1.csv\tn/a\tn/a\tS1\t100\tn/a\tn/a\n"
    ),
    "channels.tsv": (
        "recording_id\tname\ttracked_point\tunits\tsensor_id\tstatus\n"
        "*\tleft_v\tleft_knee\tV\tS1\tgood\n"
        "*\tright_v\tright_knee\tV\tS2\tgood\n"
        "bend-01\tleft_deg\tleft_knee\tdeg\tn/a\tgood\n"
        "stretch-S1\tvolts\tsensor\tV\tn/a\tgood\n"
        "stretch-S1\tmm\treference_displacement\tmm\tn/a\tgood\n"
    ),
    "labels/walk-01/mh_events.tsv": (
        "onset\tduration\ttrial_type\tside\tvalue\n"
        "-0.5\t0\tinitial_contact\tleft\tn/a\n"
        "1.0\t8.0\tnormal_gait\tn/a\tn/a\n"
        "1.2\tn/a\tinitial_contact\tright\tn/a\n"
    ),
    "labels/bend-01/mh_events.tsv": (
        "onset\tduration\ttrial_type\tside\tvalue\n12.0\t4.0\tknee_bend\tleft\t60\n2.0\t4.0\tknee_bend\tleft\t30\n"
    ),
    "raw/walk-01.csv": "time_s,left_v,right_v\n",
    "raw/bend-01.csv": "time_s,left_v,left_deg\n",
    "raw/walk-02.edf": "0",
    "raw/stretch-S1.csv": "volts,mm\n",
}


def write_study(root: Path) -> Path:
    """Write the study below ``root``."""
    for name, text in FILES.items():
        path = root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return root
