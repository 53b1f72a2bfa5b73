import io
import json
from typing import ClassVar

import pandas as pd
import pytest
from rdflib import _networking
from rocrate_validator import models, services
from strainstudy.provenance.crate import run_crate

# The terms of the RO-Crate 1.1 context that the crate uses; the context itself is fetched from the network.
CONTEXT = {
    "@context": {
        "@vocab": "http://schema.org/",
        "File": "http://schema.org/MediaObject",
        "conformsTo": {"@id": "http://purl.org/dc/terms/conformsTo"},
    }
}
NEEDS_NETWORK = {"ro-crate-1.1_3.1", "ro-crate-1.1_3.2"}


@pytest.fixture
def crate(tmp_path):
    files = {"tables/gait.tsv": "output", "report.html": "output", "raw/a.csv": "input", "config.yaml": "setting"}
    rows = [(role, name, 3, "0" * 64) for name, role in files.items()]
    for name, role in files.items():
        if role == "output":
            path = tmp_path / name
            path.parent.mkdir(exist_ok=True)
            path.write_text("abc")
    manifest = pd.DataFrame(rows, columns=["role", "file", "bytes", "sha256"])
    content = run_crate(manifest, name="demo", date="2026-11-25", version="1.0", packages={"numpy": "2.0"})
    (tmp_path / "provenance").mkdir()
    (tmp_path / "provenance/ro-crate-metadata.json").write_text(json.dumps(content))
    return tmp_path / "provenance", content


def test_the_crate_meets_the_required_level_of_process_run_crate(crate, monkeypatch):
    """Process Run Crate 0.5 over RO-Crate 1.1 (w3id.org/ro/wfrun/process/0.5), by roc-validator's shapes."""

    class Answer(io.BytesIO):
        headers: ClassVar[dict[str, str]] = {"Content-Type": "application/ld+json"}
        url = "https://w3id.org/ro/crate/1.1/context"

        def info(self):
            return self.headers

        def geturl(self):
            return self.url

    monkeypatch.setattr(_networking, "urlopen", lambda *args, **kwargs: Answer(json.dumps(CONTEXT).encode()))
    settings = services.ValidationSettings(
        rocrate_uri=str(crate[0]),
        profile_identifier="process-run-crate",
        requirement_severity=models.Severity.REQUIRED,
    )
    found = [issue for issue in services.validate(settings).get_issues() if issue.check.identifier not in NEEDS_NETWORK]
    assert [(issue.check.identifier, issue.message) for issue in found] == []


def test_the_run_names_what_went_in_and_what_came_out(crate):
    graph = {entity["@id"]: entity for entity in crate[1]["@graph"]}
    run = graph["#run"]
    assert [graph[part["@id"]]["name"] for part in run["object"]] == ["raw/a.csv", "config.yaml"]
    assert [part["@id"] for part in run["result"]] == ["../tables/gait.tsv", "../report.html"]
    assert run["result"] == graph["./"]["hasPart"]
