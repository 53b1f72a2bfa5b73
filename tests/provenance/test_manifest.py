import hashlib

from strainstudy.provenance.manifest import MANIFEST, list_files


def test_files_are_named_from_the_root_and_hashed(tmp_path):
    """SHA-256 of "abc": FIPS 180-2, appendix B.1."""
    file = tmp_path / "raw" / "a.csv"
    file.parent.mkdir()
    file.write_bytes(b"abc")
    rows = list_files("input", tmp_path, [file])
    assert list(rows.columns) == list(MANIFEST.names)
    assert rows.iloc[0].tolist() == [
        "input",
        "raw/a.csv",
        3,
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
    ]
    assert rows["sha256"][0] == hashlib.sha256(b"abc").hexdigest()
