"""The crate, by the validator of its community (roc-validator) with nothing left out of the required level."""

import io
import json
from typing import ClassVar

import pandas as pd
import pytest
from rdflib import _networking
from rocrate_validator import models, services
from rocrate_validator.utils import http
from strainstudy.provenance.crate import run_crate
from strainstudy.provenance.origin import Origin
from strainstudy.records import Contributor

SCHEMA_ORG = (
    "CreateAction CreativeWork ComputerLanguage Dataset Organization Person PropertyValue Role SoftwareApplication "
    "SoftwareSourceCode about actionStatus additionalType affiliation agent author contentSize contributor "
    "datePublished description encodingFormat exampleOfWork hasPart identifier instrument license mainEntity mentions "
    "name object programmingLanguage result roleName sameAs softwareRequirements softwareVersion url value version "
    "workExample"
)
CONTEXTS = {
    # The terms of the crate in https://w3id.org/ro/crate/1.1/context, with the addresses they have there (version
    # 1.1.3, ResearchObject/ro-crate, docs/1.1/context.jsonld).
    "https://w3id.org/ro/crate/1.1/context": {
        **{term: f"http://schema.org/{term}" for term in SCHEMA_ORG.split()},
        "File": "http://schema.org/MediaObject",
        "ComputationalWorkflow": "https://bioschemas.org/ComputationalWorkflow",
        "FormalParameter": "https://bioschemas.org/FormalParameter",
        "input": "https://bioschemas.org/ComputationalWorkflow#input",
        "conformsTo": "http://purl.org/dc/terms/conformsTo",
    },
    # ResearchObject/ro-terms, workflow-run/context.json, the term that the crate uses.
    "https://w3id.org/ro/terms/workflow-run/context": {"sha256": "https://w3id.org/ro/terms/workflow-run#sha256"},
}
PROFILES = ("ro-crate-1.1", "process-run-crate", "workflow-ro-crate", "workflow-run-crate")
# Josiah Carberry, whom ORCID invented for examples (orcid.org/0000-0002-1825-0097).
PEOPLE = (
    Contributor("Josiah Carberry", ("Formal analysis", "Software"), "0000-0002-1825-0097", "Brown University"),
    Contributor("B. Invented", ("labelled the walks",)),
)
SETTINGS = [("study", "demo", "Study folder"), ("model", None, "Model"), ("condition.mains_hz", (50.0, 60.0), "Mains")]


class Answer(io.BytesIO):
    """One document of the network, for both of the validator's ways to ask."""

    status_code = 200
    headers: ClassVar[dict[str, str]] = {"Content-Type": "application/ld+json"}

    def __init__(self, url):
        self.url = str(url)
        self.content = {"@context": CONTEXTS[self.url]}
        super().__init__(json.dumps(self.content).encode())

    def info(self):
        """Give the headers."""
        return self.headers

    def geturl(self):
        """Give the address."""
        return self.url

    def json(self):
        """Give the document."""
        return self.content


@pytest.fixture
def issues(monkeypatch):
    """What the validator finds in a crate's folder; a context that is asked for comes from `CONTEXTS`."""
    monkeypatch.setattr(_networking, "urlopen", lambda request, *a, **k: Answer(getattr(request, "full_url", request)))
    monkeypatch.setattr(http.HttpRequester, "get", lambda self, url, **k: Answer(url), raising=False)

    def found(folder, profile):
        settings = services.ValidationSettings(
            rocrate_uri=str(folder), profile_identifier=profile, requirement_severity=models.Severity.REQUIRED
        )
        result = services.validate(settings)
        assert len(result.executed_checks) > 10
        return [(issue.check.identifier, issue.message) for issue in result.get_issues()]

    return found


@pytest.fixture
def crate(tmp_path):
    files = {"tables/gait.tsv": "output", "report.html": "output", "raw/a.csv": "input", "config.yaml": "setting"}
    rows = [(role, name, 3, "0" * 64) for name, role in files.items()]
    beside = ["requirements.lock", "run_again.md"]
    made = [name for name, role in files.items() if role == "output"]
    for name in [*made, *(f"provenance/{one}" for one in (*beside, "Snakefile"))]:
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        path.write_text("abc")
    content = run_crate(
        pd.DataFrame(rows, columns=["role", "file", "bytes", "sha256"]),
        name="demo",
        date="2026-11-25",
        version="1.0",
        packages={"numpy": "2.0", "snakemake": "9.27.1"},
        settings=SETTINGS,
        contributors=PEOPLE,
        origin=Origin("f" * 40),
        beside=beside,
    )
    return tmp_path / "provenance", content


def write(crate):
    folder, content = crate
    (folder / "ro-crate-metadata.json").write_text(json.dumps(content))
    return folder


@pytest.mark.parametrize("profile", PROFILES)
def test_the_crate_passes_every_required_check_of(crate, profile, issues):
    """Workflow Run Crate 0.5 (w3id.org/ro/wfrun/workflow/0.5) and the three that it builds on."""
    assert issues(write(crate), profile) == []


@pytest.mark.parametrize("damage", ["no workflow", "a term of nobody", "no profile"])
def test_the_validator_sees_what_is_missing(crate, damage, issues):
    root = next(entity for entity in crate[1]["@graph"] if entity["@id"] == "./")
    if damage == "no workflow":
        del root["mainEntity"]
    elif damage == "a term of nobody":
        root["shoeSize"] = "43"
    else:
        root["conformsTo"] = []
    assert issues(write(crate), "workflow-run-crate") != []


def test_the_run_names_what_went_in_and_what_came_out(crate):
    graph = {entity["@id"]: entity for entity in crate[1]["@graph"]}
    run = graph["#run"]
    given = ["raw/a.csv", "config.yaml", "study", "model", "condition.mains_hz"]
    assert [graph[part["@id"]]["name"] for part in run["object"]] == given
    assert [part["@id"] for part in run["result"]] == ["../tables/gait.tsv", "../report.html"]
    assert all(part in graph["./"]["hasPart"] for part in run["result"])


def test_settings_keep_their_kind_and_their_value(crate):
    graph = {entity["@id"]: entity for entity in crate[1]["@graph"]}
    values = {name: graph[f"#value-{name}"]["value"] for name, _, _ in SETTINGS}
    assert values == {"study": "demo", "model": "null", "condition.mains_hz": "[50.0, 60.0]"}
    assert all(graph[f"#setting-{name}"]["workExample"] == {"@id": f"#value-{name}"} for name, _, _ in SETTINGS)


def test_people_have_their_roles_and_who_analysed_is_the_agent(crate):
    graph = {entity["@id"]: entity for entity in crate[1]["@graph"]}
    held = [graph[part["@id"]] for part in graph["./"]["contributor"]]
    told = [(graph[role["contributor"]["@id"]]["name"], role["roleName"], "sameAs" in role) for role in held]
    assert told == [
        ("Josiah Carberry", "Formal analysis", True),
        ("Josiah Carberry", "Software", True),
        ("B. Invented", "labelled the walks", False),
    ]
    assert graph["#run"]["agent"] == [{"@id": "https://orcid.org/0000-0002-1825-0097"}]


def test_the_commit_is_the_version_of_the_workflow(crate):
    graph = {entity["@id"]: entity for entity in crate[1]["@graph"]}
    assert graph[graph["./"]["mainEntity"]["@id"]]["version"] == "f" * 40
