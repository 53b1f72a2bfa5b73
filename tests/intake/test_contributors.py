import pytest
from small_study import write_study
from strainstudy.errors import StudyError
from strainstudy.intake.contributors import contributors_of
from strainstudy.records import Contributor
from strainstudy.study import load_study

HEADER = "name\trole\torcid\taffiliation\n"


def test_a_persons_rows_are_put_together(tmp_path):
    """0000-0002-1825-0097 is the example of orcid.org, its check digit by ISO 7064, MOD 11-2."""
    rows = "J. Carberry\tSoftware\t0000-0002-1825-0097\tn/a\nB. C.\tlabels\tn/a\tn/a\nJ. Carberry\tSoftware\tn/a\tU\n"
    (tmp_path / "contributors.tsv").write_text(HEADER + rows + "J. Carberry\tValidation\tn/a\tn/a\n")
    assert contributors_of(tmp_path) == (
        (
            Contributor("J. Carberry", ("Software", "Validation"), "0000-0002-1825-0097", "U"),
            Contributor("B. C.", ("labels",)),
        ),
        [],
    )


@pytest.mark.parametrize("orcid", ["0000-0002-1825-0098", "0000000218250097", "0000-0002-1825-009X", "carberry"])
def test_a_wrong_orcid_is_named_with_its_row(tmp_path, orcid):
    (tmp_path / "contributors.tsv").write_text(f"{HEADER}A\tSoftware\t{orcid}\tn/a\n")
    people, problems = contributors_of(tmp_path)
    assert people == ()
    assert [(p.row, p.column, p.value) for p in problems] == [(2, "orcid", orcid)]


def test_one_person_has_one_orcid(tmp_path):
    rows = "A\tSoftware\t0000-0002-1825-0097\tn/a\nA\tResources\t0000-0001-5109-3700\tn/a\n"
    (tmp_path / "contributors.tsv").write_text(HEADER + rows)
    people, problems = contributors_of(tmp_path)
    assert people == ()
    assert "another one in a row above" in str(problems[0])


def test_a_study_carries_its_contributors_and_refuses_faults_with_all_others(tmp_path):
    root = write_study(tmp_path)
    (root / "contributors.tsv").write_text("name\trole\nA\tn/a\n")
    with pytest.raises(StudyError, match=r"contributors\.tsv, row 2, column role"):
        load_study(root)
    (root / "contributors.tsv").write_text("name\trole\nA\tSoftware\n")
    assert load_study(root).contributors == (Contributor("A", ("Software",)),)
