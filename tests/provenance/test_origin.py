import subprocess

from strainstudy.provenance.origin import Origin, origin_of, run_again_text


def git(folder, *arguments):
    who = ["-c", "user.name=a", "-c", "user.email=a@example.org"]
    done = subprocess.run(["git", "-C", str(folder), *who, *arguments], capture_output=True, text=True, check=True)
    return done.stdout.strip()


def test_the_commit_of_a_checkout_is_named_and_changes_are_said(tmp_path):
    git(tmp_path, "init", "-q")
    (tmp_path / "Snakefile").write_text("a")
    git(tmp_path, "add", ".")
    git(tmp_path, "commit", "-q", "-m", "a")
    assert origin_of(tmp_path) == Origin(git(tmp_path, "rev-parse", "HEAD"), changed=False)
    (tmp_path / "notes.txt").write_text("not part of the project")
    assert not origin_of(tmp_path).changed
    (tmp_path / "Snakefile").write_text("b")
    assert origin_of(tmp_path).changed


def test_a_copy_inside_another_checkout_has_no_commit_of_its_own(tmp_path):
    git(tmp_path, "init", "-q")
    (tmp_path / "copy").mkdir()
    assert origin_of(tmp_path / "copy") == Origin(None)
    text = run_again_text(name="s", version="1", python="3.11", origin=Origin(None))
    assert "commit is not known" in text
    assert "git checkout" not in text


def test_the_way_to_run_again_names_commit_lock_and_command():
    text = run_again_text(name="s", version="1", python="3.11", origin=Origin("a" * 40))
    for part in (f"git checkout {'a' * 40}", "--require-hashes -r RESULTS/provenance/requirements.lock", "snakemake"):
        assert part in text
