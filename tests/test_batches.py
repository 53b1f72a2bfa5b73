from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st
from strainstudy.batches import BENCH, batch_name, group_recordings
from strainstudy.records import Recording

PEOPLE = st.sets(st.from_regex(r"sub-[0-9A-Za-z]{1,6}", fullmatch=True), min_size=1)


def recordings(people):
    return [
        Recording(f"{person}_{task}", task, Path("x.csv"), "x.csv", participant_id=person)
        for person in sorted(people)
        for task in ("walk", "bend")
    ]


@given(PEOPLE, st.from_regex(r"sub-[0-9A-Za-z]{7}", fullmatch=True), st.integers(1, 30))
def test_adding_a_participant_changes_one_batch(people, newcomer, batches):
    before = group_recordings(recordings(people), batches)
    after = group_recordings(recordings(people | {newcomer}), batches)
    changed = {name for name in after if before.get(name) != after[name]}
    assert changed == {batch_name(newcomer, batches)}


@given(PEOPLE, st.integers(1, 30))
def test_a_participant_is_in_one_batch_and_no_recording_is_lost(people, batches):
    grouped = group_recordings(recordings(people), batches)
    where = {}
    for name, members in grouped.items():
        for recording in members:
            where.setdefault(recording.participant_id, set()).add(name)
    assert all(len(names) == 1 for names in where.values())
    assert sum(map(len, grouped.values())) == 2 * len(people)


def test_the_bench_has_a_batch_of_its_own():
    bench = Recording("a_stretch", "stretch", Path("x.csv"), "x.csv", sensor_id="a")
    assert group_recordings([bench], 4) == {BENCH: [bench]}
