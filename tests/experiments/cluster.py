"""Set up SLURM on this machine, run the demo through the profile for clusters, and compare with a run without it.

``python tests/experiments/cluster.py [REPORT] [--small] [--against RESULTS]`` writes its section of docs/robustness.md.
Debian's packages slurm-wlm and munge are installed if they are not there, which needs root; the daemons are stopped and
their configuration is removed at the end. A machine that has a SLURM already is left alone.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from experiments.robustness import machine, write_section
from small_runs import ROOT, SMALL, Run, contents, different, small_study

CONFIG = Path("/etc/slurm/slurm.conf")
PEOPLE = 8
CONF = """\
ClusterName=local
SlurmctldHost={host}
SlurmUser=root
SlurmdUser=root
AuthType=auth/munge
StateSaveLocation={folder}/state
SlurmdSpoolDir={folder}/spool
SlurmctldPidFile={folder}/run/slurmctld.pid
SlurmdPidFile={folder}/run/slurmd.pid
SlurmctldLogFile={folder}/log/slurmctld.log
SlurmdLogFile={folder}/log/slurmd.log
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
SelectType=select/cons_tres
SelectTypeParameters=CR_Core_Memory
MpiDefault=none
ReturnToService=2
SchedulerParameters=batch_sched_delay=0,sched_min_interval=0
AccountingStorageType=accounting_storage/none
DefMemPerCPU=1000
NodeName={host} CPUs={cores} RealMemory={memory_mb} State=UNKNOWN
PartitionName=main Nodes={host} Default=YES MaxTime=INFINITE State=UP
"""
"""No accounting: what SLURM's own documentation calls the least that works, with every job run as root."""


def refuse(reason: str) -> None:
    """End before anything is changed."""
    sys.exit(f"cluster-test: {reason}; nothing was done")


def look() -> None:
    """See whether this machine can have a SLURM for a while."""
    if os.geteuid() != 0:
        refuse("it installs packages and starts daemons, which needs root")
    if shutil.which("apt-get") is None:
        refuse("it needs Debian or one of its relatives, for the packages slurm-wlm and munge")
    if CONFIG.exists():
        refuse(f"this machine has a {CONFIG} of its own")


def say(*words: str) -> str:
    """Run a command and give what it says."""
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        sys.exit(f"cluster-test: {' '.join(words)}: {done.stderr.strip() or done.stdout.strip()}")
    return done.stdout


@contextmanager
def cluster(folder: Path, cores: int) -> Iterator[str]:
    """Have a SLURM on this machine, and none afterwards; gives its version."""
    if shutil.which("slurmctld") is None or shutil.which("munged") is None:
        environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
        subprocess.run(["apt-get", "update", "-q"], check=True, env=environment, stdout=subprocess.DEVNULL)
        install = ["apt-get", "install", "-qy", "--no-install-recommends", "slurm-wlm", "munge"]
        subprocess.run(install, check=True, env=environment, stdout=subprocess.DEVNULL)
    for name in ("state", "spool", "run", "log"):
        (folder / name).mkdir()
    host = socket.gethostname().split(".")[0]
    memory_mb = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") // 2**20 * 3 // 4
    CONFIG.parent.mkdir(exist_ok=True)
    CONFIG.write_text(CONF.format(host=host, folder=folder, cores=cores, memory_mb=memory_mb), encoding="utf-8")
    pids = [folder / "run/slurmd.pid", folder / "run/slurmctld.pid"]
    try:
        say("install", "-d", "-o", "munge", "-g", "munge", "/run/munge")
        if subprocess.run(["munge", "-n"], capture_output=True, check=False).returncode != 0:
            say("runuser", "-u", "munge", "--", "munged")
            pids.append(Path("/run/munge/munged.pid"))
        say("slurmctld")
        say("slurmd")
        until = time.monotonic() + 60
        while "idle" not in say("sinfo", "-h", "-o", "%t") and time.monotonic() < until:
            time.sleep(0.5)
        say("srun", "hostname")
        yield say("sinfo", "--version").strip()
    finally:
        for pid in pids:
            with contextlib.suppress(OSError, ValueError):
                os.kill(int(pid.read_text()), signal.SIGTERM)
        CONFIG.unlink()


def main() -> int:
    """Set up, run, compare, report."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("report", nargs="?", type=Path)
    parser.add_argument("--small", action="store_true", help="a small study in place of the demo")
    parser.add_argument("--against", type=Path, help="results of a run of the same study on one machine")
    given = parser.parse_args()
    look()
    work = Path(tempfile.mkdtemp(prefix="cluster-"))
    settings: dict[str, object] = {"study": "study", "norms": "norms.tsv"}
    if given.small:
        small_study(work / "study", PEOPLE)
        settings["batches"] = PEOPLE
    else:
        shutil.copytree(ROOT / "demo_raw", work / "study")
        settings |= {name: {} for name in SMALL}
    runs = {}
    for name in ("local", "slurm"):
        (work / name).mkdir()
        shutil.copytree(work / "study", work / name / "study")
        shutil.copy(ROOT / "config/norms.tsv", work / name)
        runs[name] = Run(work / name, work / name / "study", settings=settings)
    cores = len(os.sched_getaffinity(0))
    local_s = None
    if given.against is None:
        begun = time.monotonic()
        if runs["local"].finish(timeout_s=3600) != 0:
            sys.exit(runs["local"].said())
        local_s = time.monotonic() - begun
    folder = Path(tempfile.mkdtemp(prefix="slurm-"))
    with cluster(folder, cores) as version:
        begun = time.monotonic()
        status = runs["slurm"].finish(timeout_s=3600, profile="slurm")
        slurm_s = time.monotonic() - begun
        log = (folder / "log/slurmctld.log").read_text(encoding="utf-8")
    if status != 0:
        sys.exit(runs["slurm"].said())
    one, other = contents(given.against or runs["local"].results), contents(runs["slurm"].results)
    compared = [name for name in one.keys() | other.keys() if not name.startswith("logs/")]
    if given.against is not None:
        # another place of the study is written down in these
        compared = [name for name in compared if name.startswith(("tables/", "validation/", "model/", "signals/"))]
    wrong = [name for name in different(one, other) if name in compared]
    tables = sum(name.startswith(("tables/", "validation/")) for name in compared)
    submitted = len(set(re.findall(r"_slurm_rpc_submit_batch_job: JobId=(\d+)", log)))
    lost = len(re.findall(r"_job_complete: JobId=\d+ WEXITSTATUS [1-9]", log))
    study = f"a small study of {PEOPLE} people in {PEOPLE} batches" if given.small else "the demo"
    beside = "" if local_s is None else f", on one machine without SLURM {local_s:.0f} s"
    found = f"{len(wrong) or 'none'} differed{': ' + ', '.join(wrong[:5]) if wrong else ''}"
    said = [
        line for line in runs["slurm"].said().splitlines() if not line.startswith("Using workflow specific profile")
    ]
    text = (
        f"{version.capitalize()} of Debian on one machine, {cores} processors, no accounting; {study} through "
        f"`workflow/profiles/slurm` as it stands. {submitted} jobs of the cluster, {lost} of them failed; "
        f"{slurm_s:.0f} s{beside}. Of {len(compared)} files compared byte by byte with the run on one machine, "
        f"{tables} of them in tables and validation, {found}. {machine()}\n\n"
        f"What the run said:\n\n```\n{chr(10).join(said)}\n```"
    )
    if given.report is None:
        print(text)
    else:
        title = "On a cluster: a small study" if given.small else "On a cluster"
        write_section(given.report, title, "tests/experiments/cluster.py", text)
    if not wrong:
        shutil.rmtree(work)
    shutil.rmtree(folder)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
