import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from strainstudy.batches import BENCH, batch_name, group_recordings, joined_batches, number_of_batches
from strainstudy.records import Recording

PEOPLE = st.sets(st.from_regex(r"sub-[0-9A-Za-z]{1,6}", fullmatch=True), min_size=1)
NEWCOMER = st.from_regex(r"sub-[0-9A-Za-z]{7}", fullmatch=True)
NUMBER = st.integers(1, 70)


def recordings(people):
    return [
        Recording(f"{person}_{task}", task, Path("x.csv"), "x.csv", participant_id=person)
        for person in sorted(people)
        for task in ("walk", "bend")
    ]


def cohort(people):
    return [f"sub-{number:02d}" for number in range(1, people + 1)]


def changed(before, after):
    """Batches that were there and are not as they were."""
    return {name for name in before if before[name] != after.get(name)}


@given(PEOPLE, NEWCOMER, NUMBER)
def test_of_a_set_number_of_batches_one_more_person_changes_one(people, newcomer, batches):
    before = group_recordings(recordings(people), batches)
    after = group_recordings(recordings(people | {newcomer}), batches)
    assert {name for name in after if before.get(name) != after[name]} == {batch_name(newcomer, batches)}


@given(PEOPLE, NUMBER)
def test_one_batch_more_takes_people_out_of_one_other_alone(people, batches):
    before = group_recordings(recordings(people), batches)
    after = group_recordings(recordings(people), batches + 1)
    assert len(changed(before, after)) <= 1
    assert set(after) - set(before) <= {f"people-{batches}"}


@given(PEOPLE, NEWCOMER)
def test_one_more_person_changes_at_most_the_batch_they_join_and_one_that_splits(people, newcomer):
    before, after = group_recordings(recordings(people)), group_recordings(recordings(people | {newcomer}))
    assert len(changed(before, after)) <= 2
    assert len(set(after) - set(before)) <= 2


def test_a_cohort_that_grows_one_by_one_makes_at_most_two_batches_anew_for_each_person():
    """Through every further batch on the way, one for eight people."""
    grown = cohort(500)
    before = group_recordings(recordings(grown[:100]))
    for n in range(101, len(grown) + 1):
        after = group_recordings(recordings(grown[:n]))
        assert len(changed(before, after)) <= 2
        before = after


@pytest.mark.parametrize("people", [1, 2, 3, 12, 20, 50, 100, 192, 767, 1000, 3000, 10000])
def test_a_batch_has_about_eight_people_from_one_to_ten_thousand(people):
    """Sizes under a uniform hash: Poisson about 4 to 16 people; three times the mean is beyond 1 in 10,000."""
    present = cohort(people)
    batches = number_of_batches(present)
    sizes = Counter(batch_name(person, batches) for person in present)
    assert max(sizes.values()) <= 24
    assert people / len(sizes) <= 9
    if people > 20:
        assert people / len(sizes) >= 6


@given(st.sets(st.from_regex(r"sub-[0-9A-Za-z]{1,6}", fullmatch=True), min_size=2, max_size=20))
def test_two_people_or_more_are_in_two_batches_at_least(people):
    assert len(group_recordings(recordings(people))) >= 2


@given(PEOPLE, st.none() | NUMBER)
def test_a_participant_is_in_one_batch_and_no_recording_is_lost(people, batches):
    grouped = group_recordings(recordings(people), batches)
    where = {}
    for name, members in grouped.items():
        for recording in members:
            where.setdefault(recording.participant_id, set()).add(name)
    assert all(len(names) == 1 for names in where.values())
    assert sum(map(len, grouped.values())) == 2 * len(people)


def test_another_process_with_another_seed_of_hashes_has_the_same_batches():
    line = "from strainstudy.batches import batch_name; print([batch_name(f'sub-{n}', 13) for n in range(99)])"
    said = {
        subprocess.run([sys.executable, "-c", line], env={"PYTHONPATH": ":".join(sys.path), "PYTHONHASHSEED": seed},
                       capture_output=True, check=True).stdout
        for seed in ("1", "2")
    }  # fmt: skip
    assert len(said) == 1


@pytest.mark.parametrize("batches", [None, 4])
def test_the_bench_has_a_batch_of_its_own(batches):
    bench = Recording("a_stretch", "stretch", Path("x.csv"), "x.csv", sensor_id="a")
    assert group_recordings([bench], batches) == {BENCH: [bench]}


@given(PEOPLE, st.integers(1, 40))
def test_every_batch_of_people_is_in_one_part_and_a_further_batch_changes_one(people, batches):
    names = list(group_recordings(recordings(people), batches))
    parts = joined_batches([BENCH, *names])
    assert sorted(name for part in parts.values() for name in part) == sorted(names)
    assert max(map(len, parts.values())) <= 4
    after = joined_batches([*names, f"people-{batches}"])
    assert len(changed(parts, after)) <= 1


def test_parts_go_by_the_numbers_of_batches_and_a_bench_alone_has_none():
    names = sorted(f"people-{number}" for number in range(11))
    assert names[2] == "people-10"
    assert joined_batches(names) == {
        "part-0": ["people-0", "people-1", "people-2", "people-3"],
        "part-1": ["people-4", "people-5", "people-6", "people-7"],
        "part-2": ["people-8", "people-9", "people-10"],
    }
    assert joined_batches([BENCH]) == {}
