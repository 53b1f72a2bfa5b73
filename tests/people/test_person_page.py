"""The page of a person: whole, offline, the same bytes twice, two sheets in print, and nobody else on it."""

from __future__ import annotations

import re
import subprocess
import sys
from html.parser import HTMLParser

import pandas as pd
import pytest
from browser import running_browser
from invented_person import invented_facts, invented_tables, recordings_of_person
from strainstudy.cautions import CAUTIONS
from strainstudy.gait.verdict import NO_ASYMMETRY
from strainstudy.people.facts import facts_of, nominal_holds
from strainstudy.people.names import page_file, people_files
from strainstudy.people.page import page_text
from strainstudy.people.sections import shown_walks
from strainstudy.people.worn import faults_of, worn_at
from strainstudy.provenance.plan import planned_files
from strainstudy.records import Participant, Recording

VOID = frozenset({"meta", "br", "line", "rect", "path", "circle", "polygon", "polyline"})
DEGRADED = {
    "recording_id": "sub-01_ses-1_walk", "duration": 80.0, "status": "degraded",
    "status_description": "10.0% of the samples are missing, in 1 gap", "channels": "left_knee",
}  # fmt: skip


class Reader(HTMLParser):
    """Collect words and links, and check that tags close."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.words: list[str] = []
        self.links: list[str] = []
        self.loaded: list[str] = []
        self.feed(text)
        assert self.open == []

    def handle_starttag(self, tag, attributes):
        """Note links, and what would be loaded."""
        given = dict(attributes)
        self.links += [given["href"]] if "href" in given else []
        self.loaded += [given[name] for name in ("src", "srcset", "data") if name in given]
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        """Check that the tag that closes is the one that is open."""
        if tag not in VOID:
            assert self.open.pop() == tag

    def handle_data(self, data):
        """Keep the words."""
        self.words.append(data)


def words_of_page(facts) -> str:
    return " ".join(" ".join(Reader(page_text(facts, "a study")).words).split())


@pytest.fixture(scope="module")
def chromium():
    yield from running_browser()


def sheets(chromium, text: str, folder) -> int:
    file = folder / "page.html"
    file.write_text(text, encoding="utf-8")
    page = chromium.new_page()
    page.goto(file.resolve().as_uri())
    printed = page.pdf(prefer_css_page_size=True)
    page.close()
    return len(re.findall(rb"/Type\s*/Page\b", printed))


def test_the_page_says_every_caution_and_loads_nothing():
    text = page_text(invented_facts(), "a study")
    read = Reader(text)
    assert all(caution.words in " ".join(read.words) for caution in CAUTIONS)
    assert read.loaded == []
    assert "default-src 'none'" in text
    assert not re.search(r"url\(|@import|<script", text)
    assert set(read.links) >= {"../report.html", "../review/sub-01_ses-1_walk.html"}


def test_the_same_facts_give_the_same_bytes():
    assert page_text(invented_facts(), "a study") == page_text(invented_facts(), "a study")


def test_words_of_the_lab_are_words_and_no_markup():
    nasty = '</style><script>"\\ alert(1)</script>'
    person = Participant("sub-01", None, None, nasty, None)
    text = page_text(invented_facts(person), nasty)
    assert "<script" not in text
    assert "</style><" not in text
    assert nasty in " ".join(Reader(text).words)


@pytest.mark.parametrize("sessions", [1, 2, 3, 6])
def test_it_prints_on_two_sheets_of_a4(chromium, tmp_path, sessions):
    """Every walk in both states, eight changes, and more faults than are shown."""
    odd = [DEGRADED | {"recording_id": f"sub-01_ses-{k}_bend"} for k in range(1, sessions + 1) for _ in range(4)]
    facts = invented_facts(sessions=sessions)
    crowded = facts.tables["recordings"].set_index("recording_id", drop=False)
    crowded.loc[[row["recording_id"] for row in odd], ["status", "status_description"]] = (
        "degraded",
        DEGRADED["status_description"],
    )
    facts.tables["recordings"].update(crowded.reset_index(drop=True))
    assert faults_of(facts)
    assert sheets(chromium, page_text(facts, "a study"), tmp_path) <= 2


def test_nothing_on_the_page_is_wider_than_a_small_screen(chromium, tmp_path):
    file = tmp_path / "page.html"
    file.write_text(page_text(invented_facts(sessions=4), "a study"), encoding="utf-8")
    page = chromium.new_page(viewport={"width": 800, "height": 1000})
    page.goto(file.resolve().as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= 800
    page.close()


def test_another_person_who_wore_the_same_sensor_is_not_named():
    """The reason of a flag is about the sensor; whose session it was is nobody's business here."""
    flagged = {"sensor_id": "K-left", "participant_id": "sub-77", "session_id": "ses-9", "flagged": True,
               "reason": "rest resistance -44 % from the middle of its sessions, outside its limits"}  # fmt: skip
    recordings = (*recordings_of_person("sub-01"), *recordings_of_person("sub-77"))
    tables = invented_tables(recordings)
    tables["health"] = pd.DataFrame([flagged])
    own = tuple(r for r in recordings if r.participant_id == "sub-01")
    text = page_text(facts_of(Participant("sub-01"), own, tables, {}), "a study")
    assert "sub-77" not in text
    assert "K-left, worn here too, on another person: rest resistance \u221244 %" in text
    theirs = tuple(r for r in recordings if r.participant_id == "sub-77")
    said = faults_of(facts_of(Participant("sub-77"), theirs, tables, {}))
    assert said == [
        "ses-9, sensor K-left: rest resistance \u221244 % from the middle of its sessions, outside its limits. Doubt "
        "the amplitudes of this session; look at its contacts and leads, and put it on the bench again."
    ]


def test_of_many_sessions_the_first_and_the_last_are_shown_and_the_others_named():
    facts = invented_facts(sessions=6)
    assert facts.sessions == ["ses-1", "ses-4", "ses-5", "ses-6"]
    assert "4 of 6 sessions are shown; in the tables: ses-2 and ses-3." in words_of_page(facts)


def test_a_session_without_a_name_is_one_of_its_own():
    recordings = (Recording("walk-1", "walk", None, "", "sub-01", None),)
    tables = invented_tables(recordings)
    facts = facts_of(Participant("sub-01"), recordings, tables, {})
    assert facts.sessions == ["no session given"]
    assert "all recordings stand as one" in words_of_page(facts)


def test_a_person_with_nothing_but_a_rejected_recording_has_a_page_that_says_so():
    recordings = recordings_of_person(sessions=1, tasks=("walk",))
    tables = {name: frame.iloc[:0] for name, frame in invented_tables(recordings).items()}
    row = DEGRADED | {"status": "rejected", "status_description": "the gzip file ends early", "channels": None}
    tables["recordings"] = pd.DataFrame([row])
    text = words_of_page(facts_of(Participant("sub-01"), recordings, tables, {}))
    assert "1 recording, 1 rejected" in text
    assert "ses-1 walk, rejected: the gzip file ends early." in text
    assert "no walk recorded" in text


def test_a_refused_calibration_is_a_fault_and_the_sensor_says_why_it_has_no_degrees():
    facts = invented_facts()
    maps = facts.tables["calibrations"]
    maps.loc[maps.index[0], ["status", "status_description"]] = ("refused", "holds at one angle only")
    assert worn_at(facts, "ses-1", "left_knee") == "K-left, no degrees: holds at one angle only"
    assert faults_of(facts) == ["ses-1, left knee, sensor K-left: no degrees; holds at one angle only."]
    assert worn_at(facts, "ses-1", "right_knee") == "K-right, degrees by 9 holds, scatter 2.1\u00b0 (SD)"


def test_a_hold_is_paired_with_the_bend_of_its_own_knee_that_it_overlaps_most():
    bends = pd.DataFrame(
        [
            ("b", "left", 10.0, 4.0, 29.0, 25.0, 33.0),
            ("b", "left", 14.5, 4.0, 58.0, 54.0, 62.0),
            ("b", "right", 14.0, 9.0, 80.0, 76.0, 84.0),
            ("other", "left", 14.5, 4.0, 10.0, 6.0, 14.0),
        ],
        columns=["recording_id", "side", "onset", "duration", "angle", "angle_low", "angle_high"],
    )
    marks = pd.DataFrame(
        [
            (13.0, 6.0, "knee_bend", "left", 60.0),
            (30.0, 5.0, "knee_bend", "left", 0.0),
            (13.0, 6.0, "knee_bend", "left", None),
            (13.0, 6.0, "rest", None, 7.0),
        ],
        columns=["onset", "duration", "trial_type", "side", "value"],
    )
    held = nominal_holds(bends, {"b": marks})
    assert held["nominal"].tolist() == [60.0, 0.0]
    assert held["angle"].iloc[0] == 58.0
    assert pd.isna(held["angle"].iloc[1])


def test_where_not_all_walks_have_room_every_session_has_its_own_walk():
    shown = shown_walks(invented_facts(sessions=4))
    assert shown["recording_id"].tolist() == [f"sub-01_ses-{k}_walk" for k in (1, 2, 3, 4) for _ in range(2)]


def test_a_hold_of_another_recording_than_a_bend_is_not_said_to_have_made_the_map():
    facts = invented_facts(sessions=1)
    assert "These holds also made the map" in words_of_page(facts)
    facts.holds.loc[facts.holds.index[0], "recording_id"] = "sub-01_ses-1_free"
    page = words_of_page(facts)
    assert "Those of bend recordings also made the map" in page
    assert "1 hold of other recordings made none." in page


def test_a_sensor_that_changed_after_it_was_last_worn_here_is_no_matter_of_this_person():
    flagged = {"sensor_id": "K-left", "participant_id": None, "session_id": "ses-2", "flagged": True,
               "reason": "gauge factor"}  # fmt: skip
    for sessions, told in ((1, 0), (2, 1)):
        recordings = recordings_of_person("sub-01", sessions)
        tables = invented_tables(recordings)
        tables["health"] = pd.DataFrame([flagged])
        said = faults_of(facts_of(Participant("sub-01"), recordings, tables, {}))
        assert sum("worn here too, on the bench in ses-2" in words for words in said) == told


def test_holds_are_said_to_be_off_by_their_mean_and_their_largest_difference():
    """Every invented hold reads one degree too much."""
    text = words_of_page(invented_facts(sessions=1))
    assert "ses-1 left: 6 holds, on average 1.0\u00b0 off, at most 1.0\u00b0" in text


def test_changes_beyond_their_error_come_with_what_they_mean_and_the_rest_by_name():
    text = words_of_page(invented_facts())
    assert "beyond the error of such a change: 8 of 13 measures" in text
    assert "more steps per minute" in text
    assert "Each is more than the other people's sessions differ." in text
    assert "Changed no more than the error, 5: range of motion; range of motion, right against left; peak" in text
    assert "With no change at all, about 1 in 20 would be." in text


def test_how_many_changes_chance_would_make_is_said_as_far_as_the_errors_tell():
    """One in twenty is what sessions of others make; wider limits make fewer, and errors without a day nobody knows."""
    facts = invented_facts()
    change = facts.tables["change"]
    facts.tables["change"] = change.assign(error_basis=["spread within the recordings", *change["error_basis"][1:]])
    assert "about 1 in 20 would be at most, and fewer of 1:" in words_of_page(facts)
    alone = facts.tables["change"].assign(others_detectable_change=float("nan"))
    facts.tables["change"] = alone
    assert "is not known: the error of 1 lacks day and sensor." in words_of_page(facts)


def test_a_measure_that_labels_cannot_validate_does_not_stand_beside_published_values_without_a_word():
    facts = invented_facts()
    assert "cannot be validated" not in words_of_page(facts)
    row = {"measure": "stride_time_cv", "unit": "percent", "validity": "cannot be validated with these labels",
           "from_rater_timing": 3.8}  # fmt: skip
    facts.tables["parameters"] = pd.DataFrame([row])
    assert "Stride time, CV cannot be validated with these labels, as two raters' timing alone" in words_of_page(facts)


def test_a_limp_that_is_gone_is_told_although_no_measure_changed():
    facts = invented_facts()
    bouts = facts.tables["bouts"]
    facts.tables["bouts"] = bouts[(bouts["trial_type"] != "limping_gait") | (bouts["session"] != "ses-2")]
    facts.tables["change"] = facts.tables["change"].assign(exceeds=False)
    page = words_of_page(facts)
    assert "None of 13 measures changed by more than the error" in page
    assert "Limping gait was 50 % of the walking in ses-1 and 0 % in ses-2. Measures are compared within one" in page


def test_a_walk_without_an_asymmetry_says_what_would_have_been_found():
    facts = invented_facts(sessions=1)
    facts.tables["gait"] = facts.tables["gait"].assign(
        verdict=NO_ASYMMETRY, verdict_side=None, step_time_settled_from=25.4, amplitude_settled_from=float("nan")
    )
    page = words_of_page(facts)
    assert "none found; detectable from 25 % of step time on" in page
    assert NO_ASYMMETRY not in page


def test_every_person_with_a_recording_has_a_page_in_the_plan_and_the_bench_has_none():
    known = [*recordings_of_person("sub-02"), *recordings_of_person("sub-01"), Recording("b", "stretch", None, "")]
    assert people_files(known) == ["people/sub-01.html", "people/sub-02.html"]
    assert set(people_files(known)) <= set(planned_files([], known))
    assert page_file("sub-01") in people_files(known)


def test_a_job_that_writes_pages_starts_without_what_it_does_not_need():
    heavy = ("sklearn", "matplotlib", "jinja2", "pandera")
    code = f"import sys, strainstudy.stages.people; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
