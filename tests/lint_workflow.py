"""Run the engine's own lint over the Snakefile; `make lint` ends here. What is passed over has its reason beside it."""

import subprocess
import sys

PASSED_OVER = {
    "Specify a conda environment or container for each rule.": "the whole workflow runs in one environment whose every "
    "package is locked with its hash; an environment for each rule would not be",
    "Param results is a prefix of input or output file": "the folder is a setting of the study; a stage writes several "
    "tables, each with its sidecar, below it",
    "Param study is a prefix of input or output file": "the folder is a setting of the study; the manifest names files "
    "relative to it",
    "Param project is a prefix of input or output file": "the checkout, of which the job copies two files",
    "rule check (line": "check only prints one line",
}

done = subprocess.run([sys.executable, "-m", "snakemake", "--lint"], capture_output=True, text=True)
place, found, seen = "", [], 0
for line in (done.stdout + done.stderr).splitlines():
    if line.startswith("Lints for "):
        place, seen = line.removeprefix("Lints for ").rstrip(":"), seen + 1
    elif line.startswith("    * "):
        text = f"{place}: {line.removeprefix('    * ')}"
        if not any(known in text for known in PASSED_OVER):
            found.append(text)
if not seen:
    found.append(f"the lint did not run: {done.stderr.strip()[-500:]}")
print("\n".join(found) or "workflow: no lint but those passed over with a reason")
sys.exit(bool(found))
