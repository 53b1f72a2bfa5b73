import pytest
from strainstudy.draft.names import Pattern, read_name, stem_of
from strainstudy.errors import StudyError


@pytest.mark.parametrize(
    ("file", "told"),
    [
        ("raw/sub-01/sub-01_ses-02_walk.csv.gz", ("sub-01", "ses-02", "walk", None, None)),
        ("P07/visit2/gait.csv", ("sub-07", "ses-2", "walk", None, None)),
        ("subject 3 day1 drinking 100 ml.txt", ("sub-3", "ses-1", "swallow", None, "100")),
        ("patient_12_calibration.edf", ("sub-12", None, "bend", None, None)),
        ("bench/kneeL-A_ses-01_tap.tdms", (None, "ses-01", "tap", "kneeL-A", None)),
        ("bench/stretch_S4.csv", (None, None, "stretch", "S4", None)),
        ("export_2024.csv", (None, None, None, None, None)),
        ("walk_and_stretch.csv", (None, None, None, None, None)),
    ],
)
def test_a_name_says_what_its_words_say_and_no_more(file, told):
    named = read_name(file)
    assert (named.participant_id, named.session_id, named.task, named.sensor_id, named.volume_ml) == told


def test_a_pattern_of_the_users_own_is_read_from_the_right():
    pattern = Pattern("{participant}-{session}/{task}_{any}")
    named = read_name("lab/AB.1-2/gait_final v3.csv", pattern)
    assert (named.participant_id, named.session_id, named.task) == ("sub-AB1", "ses-2", "walk")
    other = read_name("sub-01_ses-01_walk.csv", pattern)
    assert (other.participant_id, other.task) == (None, None)


@pytest.mark.parametrize("text", ["{person}_{task}", "walk", "{task}_{task}", "{}"])
def test_what_is_no_pattern_is_refused_with_the_placeholders(text):
    with pytest.raises(StudyError, match=r"--pattern.*\{participant\}"):
        Pattern(text)


def test_suffixes_of_two_parts_count_as_one():
    assert stem_of("a/b.c.CSV.gz") == "b.c"
