"""What is handed on: terms of the data, locked versions for development, the source archive."""

import os
import re
import subprocess
import sys
import tarfile
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
DATA = [
    *sorted((ROOT / "shared").rglob("*.csv")),
    *sorted((ROOT / "blownwing" / "airfoil" / "data").glob("*.csv")),
    *sorted((ROOT / "validation" / "isolated_propellers").glob("*.csv")),
]
LOCKED = [
    line
    for line in (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines()
    if line and not line.startswith("#")
]


def plain(name):
    return re.sub(r"[-_.]+", "-", name).lower()


@pytest.mark.parametrize("path", DATA, ids=lambda p: p.name)
def test_every_data_file_names_its_source_and_terms(path):
    notes = [line for line in path.read_text(encoding="utf-8").splitlines() if line[:1] == "#"]
    for key in ("source", "terms"):
        found = [line for line in notes if line.startswith(f"# {key}: ")]
        assert len(found) == 1 and len(found[0]) > 20, (key, path)


def test_the_licence_is_named_by_its_identifier():
    assert PROJECT["license"] == "MIT" and PROJECT["license-files"] == ["LICENSE"]
    assert (ROOT / "LICENSE").read_text(encoding="utf-8").startswith("MIT License")
    assert "`MIT`" in (ROOT / "README.md").read_text(encoding="utf-8")


def test_development_versions_are_exact_and_within_the_ranges_for_users():
    from packaging.requirements import Requirement

    assert all(re.fullmatch(r"[A-Za-z0-9._-]+==[0-9][0-9A-Za-z.+]*", line) for line in LOCKED)
    versions = {plain(name): version for name, version in (line.split("==") for line in LOCKED)}
    extras = PROJECT["optional-dependencies"]
    for text in [*PROJECT["dependencies"], *extras["test"], *extras["lint"]]:
        wanted = Requirement(text)
        assert versions[plain(wanted.name)] in wanted.specifier, text
    assert "--constraint constraints.txt" in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


@pytest.mark.slow
def test_the_source_archive_builds_installs_and_passes_its_tests(tmp_path):
    def ran(*command, cwd=tmp_path):
        outside = ("PYTEST_", "PYTHONPATH")  # of this run, not of what is tested
        plugged = {k: v for k, v in os.environ.items() if not k.startswith(outside)}
        done = subprocess.run(
            [str(part) for part in command], cwd=cwd, capture_output=True, text=True, check=False,
            env={**plugged, "NUMBA_CACHE_DIR": str(tmp_path / "numba"), "MPLBACKEND": "agg"},
        )  # fmt: skip
        assert done.returncode == 0, (done.stdout + done.stderr)[-3000:]
        return done.stdout

    ran(sys.executable, "-m", "venv", "venv")
    python = tmp_path / "venv" / "bin" / "python"
    ran(python, "-m", "pip", "install", "-q", "hatchling>=1.27")
    ran(python, "-m", "hatchling", "build", "-t", "sdist", "-d", tmp_path / "dist", cwd=ROOT)
    (archive,) = (tmp_path / "dist").glob("*.tar.gz")
    with tarfile.open(archive) as packed:
        packed.extractall(tmp_path / "source", filter="data")
    (source,) = (tmp_path / "source").iterdir()
    assert not list(source.rglob("__pycache__"))
    ran(python, "-m", "pip", "install", "-q", "-c", ROOT / "constraints.txt", f"{archive}[test]")
    where = ran(python, "-c", "import blownwing; print(blownwing.__file__)")
    assert str(tmp_path / "venv") in where  # what is tested is what was installed
    version = ran(python, "-m", "blownwing.cli", "--version")
    assert version.strip() == f"blownwing {PROJECT['version']}"
    # the tests of the archive against the installed package: its own folder is put away
    (source / "blownwing").rename(tmp_path / "unused")
    print(ran(python, "-m", "pytest", "-q", "-n", "2", *STANDALONE, cwd=source)[-200:])


# These read the package's files in the source tree, which is put away.
STANDALONE = [
    "--deselect=tests/test_packaging.py",
    "--deselect=tests/validation/test_validation_entries.py"
    "::test_twenty_entries_or_more_and_the_default_folder_is_theirs",
    "--ignore=tests/test_readme.py",
    "--ignore=tests/benchmarks",
]
