"""What every check shares: the program, the parts it made, and fixed subsets."""

import json
import os
import subprocess
from pathlib import Path

import pytest

from case_reading import read_case
from stl_reading import read_stl

ROOT = Path(__file__).resolve().parents[2]
SCANS = ROOT / "tests" / "scans"
# The heavy references run on these cases unless --full is given.
SUBSET = ("trachea-cut", "airway-cut")
# The slowest of all, seconds to ten thousand triangles, runs on this one.
SMALL = ("trachea-cut",)
# One case of each open scan: figures are held against the references on all of these in every run.
EACH_SCAN = (
    "trachea-cut", "trachea-rim", "trachea-whole", "airway-cut", "airway-rim", "aorta", "aortic-arch", "colon-cut-hard", "leg-sleeve",
)


def pytest_addoption(parser):
    parser.addoption("--full", action="store_true", help="heavy references on every case")


def demanded(variable):
    value = os.environ.get(variable)
    if not value:
        pytest.exit(f"{variable} is not set: run these by `cargo xtask test outside`", 2)
    return Path(value)


class Made:
    """One folder that `spile run` left, with everything in it read."""

    def __init__(self, folder):
        self.folder = folder
        self.name = folder.name
        self.proof = json.loads((folder / "proof.json").read_text())
        self.case = read_case((folder / "case.toml").read_text())
        self.stl = folder / "part.stl"
        self.part = read_stl(self.stl)
        scan = self.case["scan"]
        files = scan.get("files") or [scan["file"]]
        self.scans = [read_stl(folder / f) for f in files if f.lower().endswith(".stl")]

    def limit(self, name):
        return [l for l in self.proof["limits"] if l["name"] == name]


def held_folders():
    folder = os.environ.get("SPILE_MADE")
    if not folder or not Path(folder).is_dir():
        return []
    return sorted(p.parent for p in Path(folder).glob("*/part.stl"))


def pytest_generate_tests(metafunc):
    folders = held_folders()
    if "made" in metafunc.fixturenames:
        metafunc.parametrize("made", folders, ids=lambda p: p.name, indirect=True)
    for name, subset in (("heavy", SUBSET), ("each_scan", EACH_SCAN), ("small", SMALL)):
        if name in metafunc.fixturenames:
            some = folders if metafunc.config.getoption("--full") else [f for f in folders if f.name in subset]
            metafunc.parametrize(name, some, ids=lambda p: p.name, indirect=True)


@pytest.fixture(scope="session")
def made_cache():
    return {}


@pytest.fixture
def made(request, made_cache):
    if request.param not in made_cache:
        made_cache[request.param] = Made(request.param)
    return made_cache[request.param]


heavy = made
each_scan = made
small = made


@pytest.fixture(scope="session")
def spile():
    """Runs the program and gives exit code, JSON document or None, and its messages."""
    program = demanded("SPILE_BIN")

    def run(*words):
        done = subprocess.run([program, *map(str, words)], capture_output=True, encoding="utf-8", timeout=900)
        try:
            document = json.loads(done.stdout)
        except ValueError:
            document = None
        return done.returncode, document, done.stderr

    return run
