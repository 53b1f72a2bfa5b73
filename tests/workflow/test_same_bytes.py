"""The same bytes in other circumstances: all of them at once, up to the tables that rest on the classifier."""

from experiments.same_bytes import Circumstance, compared, run_of
from small_runs import contents, small_study

TARGETS = ("--until", "measure")
OTHERWISE = Circumstance(
    "everything at once",
    cores=1,
    settings={"batches": 5},
    environment={
        "OMP_NUM_THREADS": "2", "LC_ALL": "C", "LANG": "de_DE.UTF-8", "TZ": "Pacific/Kiritimati", "PYTHONHASHSEED": "7",
    },
    elsewhere=True,
)  # fmt: skip


def test_neither_cores_batches_threads_locale_time_zone_hash_seed_nor_place_changes_a_table(tmp_path):
    small_study(tmp_path / "study", people=2)
    first = contents(run_of(tmp_path, "first", Circumstance("first"), TARGETS).results)
    n, found = compared(first, run_of(tmp_path, "other", OTHERWISE, TARGETS), OTHERWISE)
    assert found == []
    assert n > 30
