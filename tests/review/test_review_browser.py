"""A review page in a real browser: it compares as the validation does, changes marks, and writes label files."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from browser import opened, place_of
from invented_pages import made_page, write_page
from labelling import frame
from strainstudy.gait.state_time import COLUMN_STATES, STATE_WORDS, state_seconds
from strainstudy.io.labels import check_labels, read_labels
from strainstudy.io.store import Trace
from strainstudy.review.series import Thinning, packed_series
from strainstudy.stats.matching import match_instants
from strainstudy.stats.spans import labelled_spans
from strainstudy.validate.parameters import ValidateParameters
from strainstudy.validate.scoring import tally

LENGTH_S = 60.0
RATE = 100.0
MARKS = "Review.open.desk.marks"


def columns(values: np.ndarray) -> dict[str, np.ndarray]:
    return {
        "raw": values,
        "response": values,
        "angle": 50 * values,
        "angle_low": 48 * values,
        "angle_high": 52 * values,
    }


@pytest.fixture(scope="module")
def labels() -> dict[str, pd.DataFrame]:
    walked = [(5 + 1.1 * k, 0.0, "initial_contact", "left") for k in range(20)]
    states = [
        (0.0, 4.123456, "rest"),
        (4.5, 25.0, "normal_gait"),
        (40.0, 5.0, "turn"),
        (45.2, 10.0, "limping_gait", "left"),
    ]
    mine = frame(*sorted([*walked, *states, (50.0, 3.0, "knee_bend", "right", 45.0)]))
    return {"anna": mine, "bo": frame((5.02, 0.0, "initial_contact", "left"))}


@pytest.fixture(scope="module")
def file(tmp_path_factory, labels) -> Path:
    values = np.abs(np.sin(np.arange(LENGTH_S * RATE) / 35))
    values[2000:2100] = np.nan
    traces = {
        point: Trace("walk-1", point, "V", RATE, columns(values)) for point in ("left_knee", "right_knee", "throat")
    }
    events = frame(*[(5.03 + 1.1 * k, 0.0, "initial_contact", "left") for k in range(1, 21)])
    bouts = frame((0.0, 5.0, "rest"), (5.0, 30.0, "normal_gait"), (40.0, 20.0, "gait"))
    bouts = bouts.assign(limping_side=None)
    return write_page(tmp_path_factory.mktemp("pages"), made_page(traces, labels), "walk-1", events, bouts)


@pytest.fixture
def context(chromium):
    made = chromium.new_context(viewport={"width": 1300, "height": 1300}, accept_downloads=True)
    yield made
    made.close()


def saved(page, folder: Path) -> Path:
    with page.expect_download() as waiting:
        page.click("#save")
    place = folder / waiting.value.suggested_filename
    waiting.value.save_as(place)
    return place


def row_of(page, label: str) -> int:
    labels = page.evaluate("Review.open.plots.lanes.rows.map((row) => row.label)")
    return next(k for k, words in enumerate(labels) if words.startswith(label))


def drag(page, row: int, start: float, end: float) -> None:
    (x, y), (to, _) = place_of(page, start, row), place_of(page, end, row)
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move((x + to) / 2, y, steps=3)
    page.mouse.move(to, y, steps=3)
    page.mouse.up()


def as_marks(rows: pd.DataFrame) -> list[dict]:
    names = {"trial_type": "type"}
    held = rows.rename(columns=names)[["onset", "duration", "type", "side", "value"]].astype(object)
    return held.where(held.notna(), None).to_dict("records")


def random_marks(rng: np.random.Generator, n: int, *, limits: bool) -> pd.DataFrame:
    """Marks of all kinds; every other one has decimals of the tolerance, so that limits are met exactly."""
    rows = []
    for _ in range(n):
        onset = float(rng.choice([np.round(rng.uniform(0, 8), 2), rng.uniform(0, 8)]))
        kind = str(rng.choice(["initial_contact", "toe_off", "swallow", "knee_bend", "speech"]))
        side = str(rng.choice(["left", "right"])) if kind not in ("swallow", "speech") else None
        length = 0.0 if kind in ("initial_contact", "toe_off") else float(np.round(rng.uniform(0.1, 2), 2))
        value = float(rng.choice([0.0, 30.0])) if kind == "knee_bend" else np.nan
        rows.append((onset, length, kind, side, value))
    if limits:
        rows += [(1.0, 3.0, "labelled"), (5.0, 1.5, "labelled")]
    return frame(*rows).sort_values(["onset", "duration"], kind="stable", ignore_index=True)


@pytest.mark.parametrize("parts", [40, 5000])
def test_a_curve_in_view_goes_forward_in_time_and_loses_no_spike(file, context, parts):
    rng = np.random.default_rng(4)
    values = rng.standard_normal(30_000)
    values[[12_345, 20_050]] = 90, -90
    series = packed_series(values, RATE, Thinning(10, np.array([[100.0, 110.0], [200.0, 201.0]])))
    entry = {"point": "throat", "quantity": "raw", "unit": "V", **series}
    page = opened(context, file)
    script = "([entry, parts]) => new Review.Curve(entry).view(90, 210, parts)"
    view = page.evaluate(script, [entry, parts])
    assert (np.diff(view["x"]) > 0).all()
    assert view["x"][0] <= 90 < 210 <= view["x"][-1]
    assert (max(view["y"]), min(view["y"])) == pytest.approx((90, -90), abs=0.01)
    if parts > 1000:
        inside = (np.array(view["x"]) >= 100) & (np.array(view["x"]) < 110)
        np.testing.assert_allclose(np.array(view["y"])[inside], values[10_000:11_000], atol=0.01)


def test_pairs_are_as_many_and_as_near_as_those_of_the_validation(file, context):
    """Against `stats.matching`, which solves the assignment by another method (shortest augmenting paths)."""
    rng = np.random.default_rng(1)
    cases = [
        (
            np.round(rng.uniform(0, span, rng.integers(0, 25)), 2).tolist(),
            np.round(rng.uniform(0, span, 12), 2).tolist(),
            t,
        )
        for span in (1.0, 5.0, 20.0)
        for t in (0.0, 0.05, 0.25, 1.0)
        for _ in range(12)
    ]
    page = opened(context, file)
    found = page.evaluate("(cases) => cases.map(([a, b, t]) => Review.match(a, b, t))", cases)
    for (first, second, tolerance), pairs in zip(cases, found, strict=True):
        wanted = match_instants(first, second, tolerance)
        assert len({i for i, _ in pairs}) == len({j for _, j in pairs}) == len(pairs) == len(wanted)
        distance = sum(abs(first[i] - second[j]) for i, j in pairs)
        assert distance == pytest.approx(wanted.distance.sum(), abs=1e-9)
        assert all(abs(first[i] - second[j]) <= tolerance + 1e-9 for i, j in pairs)


def test_counts_of_differences_are_those_of_the_validation(file, context):
    """Against `validate.scoring.tally`: types, sides, straight legs, spans looked at."""
    rng = np.random.default_rng(2)
    cases = [(random_marks(rng, 25, limits=k % 3 == 0), random_marks(rng, 25, limits=False)) for k in range(40)]
    page = opened(context, file)
    script = """(cases) => cases.map(([a, b]) =>
      Review.compareEvents(a, b, Review.open.content, { time: 0.1, centre: 0.5 }).counts)"""
    counted = page.evaluate(script, [[as_marks(a), as_marks(b[b["trial_type"] != "labelled"])] for a, b in cases])
    parameters = ValidateParameters(contact_tolerances_s=(0.1,), centre_tolerances_s=(0.5,))
    compared = 0
    for (labels, events), counts in zip(cases, counted, strict=True):
        events = events[(events["trial_type"] != "knee_bend") | (events["value"] != 0)]
        tallies = tally("r", "p", labels, events, parameters, spans=labelled_spans(labels))
        wanted = {
            (t.trial_type, t.side): (t.true_positive, t.false_negative, t.false_positive)
            for t in tallies
            if t.criterion.name in ("time", "centre")
        }
        for one in counts:
            key = (one["type"], one["side"])
            assert (one["both"], one["missed"], one["extra"]) == wanted[key], (key, labels, events)
            compared += 1
    assert compared > 150


def test_seconds_of_states_that_differ_are_those_of_the_validation(file, context):
    rng = np.random.default_rng(3)

    def states(kinds: list[str]) -> pd.DataFrame:
        edges = np.sort(np.round(rng.uniform(0, 50, 9), 2))
        return frame(*[(a, b - a + rng.choice([0, 0.3]), str(rng.choice(kinds))) for a, b in pairwise(edges)])

    cases = [(states(list(STATE_WORDS)), states([*STATE_WORDS, "gait"])) for _ in range(30)]
    page = opened(context, file)
    script = "(cases) => cases.map(([a, b]) => Review.compareStates(a, b, Review.open.content))"
    found = page.evaluate(script, [[as_marks(a), as_marks(b)] for a, b in cases])
    for (labels, bouts), result in zip(cases, found, strict=True):
        table = state_seconds("r", "p", labels, bouts).seconds
        agreed = sum(table[k, COLUMN_STATES.index(word)] for k, word in enumerate(STATE_WORDS))
        assert result["seconds"] == pytest.approx(table.sum())
        assert result["differ"] == pytest.approx(table.sum() - agreed)
        assert sum(d["to"] - d["from"] for d in result["list"]) == pytest.approx(result["differ"])


def test_a_file_saved_without_a_change_holds_the_labels_as_they_were(file, context, labels, tmp_path):
    page = opened(context, file)
    assert page.inner_text("#unsaved") == "As in the study."
    place = saved(page, tmp_path)
    assert place.name == "anna_events.tsv"
    lines = place.read_text(encoding="utf-8").splitlines()
    assert lines[:2] == ["onset\tduration\ttrial_type\tside\tvalue", "0.0000\t4.123456\trest\tn/a\tn/a"]
    assert "50.0000\t3.0000\tknee_bend\tright\t45" in lines
    pd.testing.assert_frame_equal(
        read_labels(place), labels["anna"].astype(object).astype(labels["anna"].dtypes.to_dict())
    )


def test_marks_are_moved_drawn_retyped_and_removed_by_hand_and_outlive_the_page(file, context, tmp_path):
    page = opened(context, file, "#t=7.2")
    feet, artefact = row_of(page, "left foot, anna"), row_of(page, "artefact, anna")
    before = page.evaluate(MARKS)
    drag(page, feet, 7.2, 7.5)
    moved = page.evaluate(MARKS)
    changed = [(a["onset"], b["onset"]) for a, b in zip(before, moved, strict=True) if a != b]
    assert len(changed) == 1
    assert changed[0][0] == pytest.approx(7.2)
    assert changed[0][1] == pytest.approx(7.5, abs=0.02)

    drag(page, artefact, 8.0, 9.0)
    assert page.evaluate(MARKS)[-1] == pytest.approx(
        {"onset": 8.0, "duration": 1.0, "type": "artefact", "side": None, "value": None}, abs=0.02
    )
    page.mouse.dblclick(*place_of(page, 6.0, feet))
    page.keyboard.press("r")
    page.keyboard.press("ArrowRight")
    added = page.evaluate(MARKS)[-1]
    assert (added["type"], added["side"], added["duration"]) == ("toe_off", "left", 0)
    assert added["onset"] == pytest.approx(6.01, abs=0.02)
    page.keyboard.press("x")
    assert len(page.evaluate(MARKS)) == len(before) + 1
    page.keyboard.press("z")
    assert page.evaluate(MARKS)[-1] == added
    assert "kept in this browser" in page.inner_text("#unsaved")
    page.close()

    again = opened(context, file)
    assert len(again.evaluate(MARKS)) == len(before) + 2
    place = saved(again, tmp_path)
    assert check_labels([(place, place.name, "walk")])[1] == []
    assert read_labels(place)["onset"].is_monotonic_increasing
    again.once("dialog", lambda dialog: dialog.accept())
    again.click("#restart")
    assert again.inner_text("#unsaved") == "As in the study."


def test_keys_step_through_the_differences_and_take_over_what_was_detected(file, context):
    page = opened(context, file)
    page.keyboard.press("d")
    assert page.inner_text("#difference-count").startswith("1 of ")
    differences = page.evaluate("Review.open.state.differences")
    assert [d["t"] for d in differences] == sorted(d["t"] for d in differences)
    lonely = next(k for k, d in enumerate(differences) if d["only"] == "other")
    for _ in range(lonely):
        page.keyboard.press("d")
    low, high = page.evaluate("[Review.open.plots.range.start, Review.open.plots.range.end]")
    assert low < differences[lonely]["t"] < high
    assert high - low <= 6.01
    n = len(page.evaluate(MARKS))
    page.keyboard.press("t")
    taken = page.evaluate(MARKS)
    assert len(taken) == n + 1
    assert taken[-1]["onset"] == pytest.approx(differences[lonely]["t"], abs=5e-4)
    assert len(page.evaluate("Review.open.state.differences")) == len(differences) - 1


def test_a_link_opens_at_its_time_and_the_view_goes_from_the_whole_to_two_seconds(file, context):
    span = "[Review.open.plots.range.start, Review.open.plots.range.end]"
    page = opened(context, file, "#t=12.3")
    low, high = page.evaluate(span)
    assert (low + high) / 2 == pytest.approx(12.3)
    page.goto(f"{file.as_uri()}#t=30.00&for=8.00")
    page.wait_for_function(f"() => Math.abs({span}[0] - 28) < 0.01 && Math.abs({span}[1] - 40) < 0.01")
    page.keyboard.press("q")
    low, high = page.evaluate(span)
    assert low <= 0
    assert high >= LENGTH_S
    for _ in range(5):
        page.keyboard.press("e")
    low, high = page.evaluate(span)
    assert high - low < 2
    # The page writes what is in view with its next frame, which a busy machine may leave until later.
    page.wait_for_function(r"() => /\(1\.\d\d s\)/.test(document.getElementById('in-view').textContent)")


def test_a_blind_rater_sees_nothing_that_was_detected_on_this_page_or_the_next(file, context):
    page = opened(context, file)
    rows = "Review.open.plots.lanes.rows.map((row) => row.label).join('; ')"
    assert "detected" in page.evaluate(rows)
    page.keyboard.press("h")
    for seen in (page, opened(context, file)):
        assert "detected" not in seen.evaluate(rows)
        assert seen.evaluate("Review.open.plots.shared.detected.data.x.length") == 0
        assert not seen.is_visible("#differences")


def test_another_rater_starts_from_nothing_and_gets_a_file_of_their_own(file, context, tmp_path):
    page = opened(context, file)
    page.once("dialog", lambda dialog: dialog.accept("cleo-2"))
    page.select_option("#rater", "")
    assert page.evaluate(MARKS) == []
    page.keyboard.press("c")
    assert len(page.evaluate(MARKS)) == 1
    assert saved(page, tmp_path).name == "cleo-2_events.tsv"
    assert page.inner_text("#file") == "labels/walk-1/cleo-2_events.tsv"
    page.select_option("#rater", "anna")
    assert page.inner_text("#unsaved") == "As in the study."
    assert "cleo-2" in page.inner_text("#rater")


def test_what_the_check_of_the_study_would_refuse_is_said_before_saving(file, context):
    page = opened(context, file)
    assert not page.is_visible("#faults")
    page.evaluate(
        "Review.open.desk.change((marks) => [...marks, { ...marks[0], onset: 5, duration: 8, type: 'turn' }])"
    )
    assert "normal gait goes on at the same time" in page.inner_text("#faults")


def test_work_from_before_the_labels_changed_is_offered_and_not_lost(file, context, labels, tmp_path):
    page = opened(context, file)
    page.evaluate("Review.open.desk.change((marks) => marks.slice(1))")
    page.evaluate(
        """() => {
          for (const key of Object.keys(localStorage).filter((name) => name.split("/").length === 5)) {
            const [ours, recording, series, , rater] = key.split("/");
            localStorage.setItem([ours, recording, series, "earlier", rater].join("/"), localStorage.getItem(key));
            localStorage.removeItem(key);
          }
        }"""
    )
    page.reload()
    page.wait_for_selector("body[data-ready=yes]")
    assert len(page.evaluate(MARKS)) == len(labels["anna"])
    page.click("#earlier-list button")
    assert len(page.evaluate(MARKS)) == len(labels["anna"]) - 1
    assert not page.is_visible("#earlier")


@pytest.mark.parametrize("width", [1300, 800])
def test_nothing_is_wider_than_the_screen(file, chromium, width):
    with chromium.new_context(viewport={"width": width, "height": 900}) as narrow:
        page = opened(narrow, file)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
