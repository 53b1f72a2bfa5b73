"""The run as an RO-Crate, for archives and for machines.

In: what ran, on what, to what, and who worked on it. Out: the JSON-LD of ``ro-crate-metadata.json`` by the Workflow Run
Crate profile 0.5 (https://w3id.org/ro/wfrun/workflow/0.5, with Process Run Crate 0.5 and Workflow RO-Crate 1.0, which
it builds on) over RO-Crate 1.1 (https://w3id.org/ro/crate/1.1). The profile's ``endTime`` is a recommendation that is
left out: the same inputs are to give the same bytes.
"""

from __future__ import annotations

import json
import mimetypes
import re
from collections.abc import Hashable, Mapping, Sequence
from typing import Any

import pandas as pd

from ..records import Contributor
from .origin import WORKFLOW, Origin

__all__ = ["CRATE", "Setting", "run_crate"]

CRATE = "provenance/ro-crate-metadata.json"
_CRATE_1_1 = "https://w3id.org/ro/crate/1.1"
_PROFILES = {
    "https://w3id.org/ro/wfrun/process/0.5": ("Process Run Crate", "0.5"),
    "https://w3id.org/ro/wfrun/workflow/0.5": ("Workflow Run Crate", "0.5"),
    "https://w3id.org/workflowhub/workflow-ro-crate/1.0": ("Workflow RO-Crate", "1.0"),
}
_CONTEXT = (f"{_CRATE_1_1}/context", "https://w3id.org/ro/terms/workflow-run/context")
_ACTION = "#run"
_LANGUAGE = "https://w3id.org/workflowhub/workflow-ro-crate#snakemake"
_FORMAL_ANALYSIS = "formal-analysis"
_CREDIT = frozenset(
    {
        *("conceptualization", "data-curation", _FORMAL_ANALYSIS, "funding-acquisition", "investigation"),
        *("methodology", "project-administration", "resources", "software", "supervision", "validation"),
        *("visualization", "writing-original-draft", "writing-review-editing"),
    }
)
"""Contributor Roles Taxonomy as its addresses spell it (credit.niso.org; from memory, 95 %)."""
_TYPES = {
    ".tsv": "text/tab-separated-values",
    ".parquet": "application/vnd.apache.parquet",
    ".skops": "application/zip",
    ".yaml": "application/yaml",
    ".md": "text/markdown",
    ".lock": "text/plain",
}
_KINDS = {bool: "Boolean", int: "Integer", float: "Float", str: "Text"}

Setting = tuple[str, Any, str]
"""Dotted name, value, and what it does."""
Entity = dict[str, Any]


def _typed(name: str) -> Entity:
    suffix = name[name.rfind(".") :] if "." in name else ""
    kind = _TYPES.get(suffix) or mimetypes.guess_type(name)[0]
    return {"encodingFormat": kind} if kind else {}


def _file(row: Mapping[Hashable, Any], prefix: str) -> Entity:
    name = str(row["file"])
    entity = {"@id": prefix + name, "@type": "File", "name": name, "contentSize": str(row["bytes"])}
    return {**entity, "sha256": row["sha256"], **_typed(name)}


def _ids(entities: Sequence[Entity]) -> list[dict[str, str]]:
    return [{"@id": entity["@id"]} for entity in entities]


def _slug(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")


def _people(contributors: Sequence[Contributor]) -> tuple[list[Entity], list[Entity], list[Entity]]:
    """Make persons, their institutions, and a role entity for each person and role."""
    places = {person.affiliation for person in contributors} - {None}
    institutions = [
        {"@id": f"#place-{_slug(str(p))}", "@type": "Organization", "name": p} for p in sorted(places, key=str)
    ]
    known = {entity["name"]: {"@id": entity["@id"]} for entity in institutions}
    persons, roles = [], []
    for number, person in enumerate(contributors, 1):
        identity = f"https://orcid.org/{person.orcid}" if person.orcid else f"#person-{number}"
        entity: Entity = {"@id": identity, "@type": "Person", "name": person.name}
        if person.affiliation:
            entity["affiliation"] = known[person.affiliation]
        persons.append(entity)
        for role in person.roles:
            slug = _slug(role)
            held: Entity = {"@id": f"#role-{number}-{slug}", "@type": "Role", "name": role, "roleName": role}
            if slug in _CREDIT:
                held["sameAs"] = {"@id": f"https://credit.niso.org/contributor-roles/{slug}/"}
            roles.append({**held, "contributor": {"@id": identity}})
    return persons, institutions, roles


def _shown(value: Any) -> Any:
    """Give a setting's value as JSON-LD has it: a number, a flag or a text; a list is written out as JSON."""
    if value is None:
        return "null"
    return json.dumps(list(value)) if isinstance(value, (tuple, list)) else value


def _settings(settings: Sequence[Setting]) -> tuple[list[Entity], list[Entity]]:
    """Make a parameter of the workflow for each setting, and the value it had."""
    parameters, values = [], []
    for name, value, words in settings:
        parameter, given = f"#setting-{name}", f"#value-{name}"
        kind = _KINDS.get(type(value), "Text")
        parameters.append(
            {
                "@id": parameter,
                "@type": "FormalParameter",
                "name": name,
                "description": words,
                "additionalType": kind,
                "workExample": {"@id": given},
            }
        )
        values.append(
            {
                "@id": given,
                "@type": "PropertyValue",
                "name": name,
                "value": _shown(value),
                "exampleOfWork": {"@id": parameter},
            }
        )
    return parameters, values


def run_crate(
    manifest: pd.DataFrame,
    *,
    name: str,
    date: str,
    version: str,
    packages: Mapping[str, str],
    settings: Sequence[Setting] = (),
    contributors: Sequence[Contributor] = (),
    origin: Origin | None = None,
    beside: Sequence[str] = (),
) -> dict[str, Any]:
    """Describe one run.

    Parameters
    ----------
    manifest : DataFrame
        Columns ``role`` (input, setting, model, output), ``file``, ``bytes``, ``sha256``.
    name : str
        Name of the study.
    date : str
        ISO 8601 date written as the crate's date of publication.
    version : str
        Version of this software.
    packages : mapping of str to str
        Versions of the libraries that computed, by name; that of ``snakemake`` is the workflow language's.
    settings : sequence of (str, value, str)
        Every setting as it was in force.
    contributors : sequence of Contributor
        Who worked on the study; those of formal analysis are the agents of the run.
    origin : Origin, optional
        Commit of the project.
    beside : sequence of str
        Further files in the crate's folder, such as how to run it again; the workflow itself is always one.

    Returns
    -------
    dict
        JSON-LD document.
    """
    files = manifest.to_dict("records")
    outputs = [_file(row, "../") for row in files if row["role"] == "output"]
    given = [{**_file(row, f"#{row['role']}/"), "@type": "CreativeWork"} for row in files if row["role"] != "output"]
    libraries = [
        {"@id": f"#package-{package}", "@type": "SoftwareApplication", "name": package, "softwareVersion": number}
        for package, number in sorted(packages.items())
    ]
    persons, institutions, roles = _people(contributors)
    parameters, values = _settings(settings)
    companions = [{"@id": one, "@type": "File", "name": one, **_typed(one)} for one in beside]
    source = "" if origin is None else f" from {origin}"
    root: Entity = {
        "@id": "./",
        "@type": "Dataset",
        "name": f"Results of {name}",
        "description": f"Tables, figures and models that strainstudy {version} made from the study {name}. "
        "Research results; not for diagnosis.",
        "datePublished": date,
        "license": "The study's own; the software that made it is BSD-3-Clause.",
        "conformsTo": [{"@id": profile} for profile in _PROFILES],
        "mainEntity": {"@id": WORKFLOW},
        "hasPart": [{"@id": WORKFLOW}, *_ids(companions), *_ids(outputs)],
        "mentions": [{"@id": _ACTION}],
    }
    action: Entity = {
        "@id": _ACTION,
        "@type": "CreateAction",
        "name": f"strainstudy on {name}",
        "description": f"snakemake{source}; run_again.md says how to run it again",
        "instrument": {"@id": WORKFLOW},
        "object": _ids([*given, *values]),
        "result": _ids(outputs),
        "actionStatus": "http://schema.org/CompletedActionStatus",
    }
    workflow: Entity = {
        "@id": WORKFLOW,
        "@type": ["File", "SoftwareSourceCode", "ComputationalWorkflow"],
        "name": "strainstudy",
        "programmingLanguage": {"@id": _LANGUAGE},
        "softwareVersion": version,
        "version": version if origin is None or origin.commit is None else origin.commit,
        "license": "https://spdx.org/licenses/BSD-3-Clause",
        "softwareRequirements": _ids(libraries),
        **_typed(WORKFLOW),
    }
    if parameters:
        workflow["input"] = _ids(parameters)
    if persons:
        root["author"] = _ids(persons)
        root["contributor"] = _ids(roles)
    agents = [role["contributor"] for role in roles if _slug(role["roleName"]) == _FORMAL_ANALYSIS]
    if agents:
        action["agent"] = agents
    language = {
        "@id": _LANGUAGE,
        "@type": "ComputerLanguage",
        "name": "Snakemake",
        "identifier": {"@id": "https://doi.org/10.1093/bioinformatics/bts480"},
        "url": {"@id": "https://snakemake.readthedocs.io"},
        "version": packages.get("snakemake", "unknown"),
    }
    descriptor = {
        "@id": "ro-crate-metadata.json",
        "@type": "CreativeWork",
        "conformsTo": [{"@id": _CRATE_1_1}, {"@id": "https://w3id.org/workflowhub/workflow-ro-crate/1.0"}],
        "about": {"@id": "./"},
    }
    profiles = [
        {"@id": profile, "@type": "CreativeWork", "name": title, "version": number}
        for profile, (title, number) in _PROFILES.items()
    ]
    graph = [descriptor, root, *profiles, workflow, language, action, *persons, *institutions, *roles]
    graph += [*libraries, *parameters, *values, *companions, *given, *outputs]
    return {"@context": list(_CONTEXT), "@graph": graph}
