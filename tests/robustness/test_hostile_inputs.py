"""Pipes, devices, endless files, long names, absurd numbers, odd environments: one sentence."""

import os
import signal
import subprocess
import sys
from contextlib import contextmanager

import pytest
from sweeps import BLADE_CASE, SECTION, STUDY, called, sections_and_blade

from blownwing import read_case
from blownwing.case.textfiles import LARGEST_FILE, LONGEST_ROW, input_bytes
from blownwing.errors import InputError
from blownwing.kernels import jit

pytestmark = pytest.mark.skipif(os.name != "posix", reason="pipes and devices of POSIX")
LONG = "n" * 400
SLOWEST = 60  # s, on a busy machine; a pipe would be waited for without an end


@pytest.fixture
def folder(tmp_path):
    sections_and_blade(tmp_path)
    (tmp_path / "case.toml").write_text(BLADE_CASE, encoding="utf-8")
    (tmp_path / "study.toml").write_text(STUDY, encoding="utf-8")
    return tmp_path


class Late(BaseException):
    """A command that waits; no Exception, so that nothing turns it into a sentence."""


@contextmanager
def in_time():
    """Reading a pipe that nobody writes would never end."""

    def late(_number, _frame):
        raise Late

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(SLOWEST)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def refused(folder, *command):
    """The one sentence with which a command ends; nothing new lies in its folder."""
    before = sorted(p.name for p in folder.rglob("*"))
    with in_time():
        done = called(folder, *command)
    assert done.exit_code == 2, (done.exit_code, done.output[:500])
    assert done.output.startswith("blownwing: ") and done.output.count("\n") == 1
    assert "internal error" not in done.output and len(done.output) < 1000
    assert sorted(p.name for p in folder.rglob("*")) == before
    return done.output


READERS = {
    "case": "check case.toml",
    "case to solve": "solve case.toml",
    "study": "sweep study.toml",
    "study to optimize": "optimize study.toml",
    "aircraft": "aircraft case.toml",
    "design": "design-propeller spec.toml",
    "result to plot": "plot result.h5",
    "result to report": "report result.h5",
    "page": "explore case.toml --no-browser",
}


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("kind", ["pipe", "endless"])
def test_pipes_and_devices_are_not_waited_for(folder, reader, kind):
    words = READERS[reader].split()
    (folder / words[1]).unlink(missing_ok=True)
    if kind == "pipe":
        os.mkfifo(folder / words[1])
    else:
        os.symlink("/dev/zero", folder / words[1])
    assert "pipe or a device" in refused(folder, *words)


@pytest.mark.parametrize("file", ["blade.csv", "sections/own.csv"])
@pytest.mark.parametrize("kind", ["pipe", "endless"])
def test_named_files_that_are_pipes_or_devices(folder, file, kind):
    (folder / file).unlink()
    if kind == "pipe":
        os.mkfifo(folder / file)
    else:
        os.symlink("/dev/zero", folder / file)
    for command in ("solve case.toml", "sweep study.toml --workers 1", "check case.toml"):
        refused(folder, *command.split())


@pytest.mark.parametrize("name", ["out.h5", "out.csv", "out.journal"])
def test_an_output_that_is_a_pipe_is_not_opened(folder, name):
    os.mkfifo(folder / name)
    assert "pipe or a device" in refused(folder, "sweep", "study.toml", "-o", "out.h5")


def test_large_files_end_at_a_bound(tmp_path):
    with (tmp_path / "sparse.toml").open("wb") as stream:
        stream.truncate(50 * LARGEST_FILE)  # takes no room on the disk
    assert "larger than 20 MB" in refused(tmp_path, "check", "sparse.toml")
    (tmp_path / "all.toml").write_bytes(b"x" * 1000)
    assert len(input_bytes(tmp_path / "all.toml")) == 1000


@pytest.mark.parametrize(
    "command",
    [f"check {LONG}.toml", f"solve case.toml -o {LONG}.h5", f"sweep study.toml -o {LONG}.h5",
     f"plot {LONG}.h5", f"plot result.h5 -o {LONG}", f"report {LONG}.h5",
     f"solve case.toml -o {LONG}/x.h5", f"design-propeller {LONG}.toml",
     f"optimize study.toml -o {LONG}", f"aircraft case.toml -o {LONG}.h5",
     f"validate --report {LONG}.html", f"validate --folder {LONG}",
     f"solve case.toml -o {'a/' * 3000}x.h5"],
)  # fmt: skip
def test_names_longer_than_the_file_system_allows(folder, command):
    refused(folder, *command.split())


def test_a_name_that_grows_too_long_with_its_ending(folder):
    name = "n" * 240
    refused(folder, "solve", "case.toml", "-o", f"{name}.h5", "--csv")
    done = called(folder, "solve", "case.toml", "-o", f"{name}.h5")
    assert done.exit_code == 0, done.output  # control: 243 characters are possible
    assert (folder / f"{name}.h5").is_file()


@pytest.mark.parametrize(
    ("old", "new"),
    [('blade = "blade.csv"', f'blade = "{LONG}.csv"'),
     ('airfoil = "sections/own.csv"', f'airfoil = "{LONG}.csv"')],
)  # fmt: skip
def test_long_names_inside_a_case(folder, old, new):
    text = (folder / "case.toml").read_text()
    assert old in text
    (folder / "case.toml").write_text(text.replace(old, new))
    refused(folder, "solve", "case.toml")


@pytest.mark.parametrize("length", [LONGEST_ROW + 1, 200_000, 5_000_000])
@pytest.mark.parametrize("file", ["blade.csv", "sections/own.csv"])
def test_cells_of_any_size(folder, file, length):
    rows = (folder / file).read_text().splitlines()
    rows[-1] = rows[-1].replace("1", "1" * length, 1)
    (folder / file).write_text("\n".join(rows))
    assert f"accepted are lines of up to {LONGEST_ROW}" in refused(folder, "solve", "case.toml")


@pytest.mark.parametrize("cell", ['"', '"a', '"a"b', "\0"])
def test_cells_with_odd_quotes(folder, cell):
    (folder / "blade.csv").write_text((folder / "blade.csv").read_text().replace("naca4412", cell))
    refused(folder, "solve", "case.toml")


ODD = {
    "airspeed": ["1e-310", "5e-324", "1e-20", "-1e-310", "1e31", "1e300"],
    "rpm": ["1e-310", "5e-324", "1e-9", "1e31", "1e300"],
    "density": ["1e20", "1e-310", "3000", "0", "-1", "1e300"],
    "alpha": ["1e300", "[1.0, 1e300]"],
    "chord": ["1e300"],
    "diameter": ["1e300"],
}


@pytest.mark.parametrize(("key", "value"), [(k, v) for k, values in ODD.items() for v in values])
def test_numbers_that_no_flow_has(folder, key, value):
    lines = []
    for line in BLADE_CASE.replace("alpha = 4.0", "alpha = 4.0\ndensity = 1.2").splitlines():
        lines.append(f"{key} = {value}" if line.startswith(f"{key} = ") else line)
    (folder / "case.toml").write_text("\n".join(lines))
    assert key in refused(folder, "solve", "case.toml")


def test_water_and_thin_air_are_accepted(folder):
    # control: sea water (about 1025 kg/m3, common knowledge) and near space
    for density in (1025.0, 1e-5):
        assert read_case(folder / "case.toml").replace(**{"flow.density": density})


@pytest.mark.parametrize("name", ["\udcff.toml", ".", "..", "/", "case.toml/x", ""])
def test_odd_names_of_a_case(folder, name):
    refused(folder, "check", name)


def run(folder, *arguments, **environment):
    return subprocess.run(
        [sys.executable, "-m", "blownwing.cli", *arguments], cwd=folder, capture_output=True,
        text=True, check=False, timeout=60, env={**os.environ, **environment},
    )  # fmt: skip


@pytest.mark.parametrize("number", ["0", "abc", "9" * 30])
def test_a_number_of_threads_that_is_none(folder, number):
    done = run(folder, "check", "case.toml", NUMBA_NUM_THREADS=number)
    assert done.returncode == 2 and "NUMBA_NUM_THREADS" in done.stderr
    assert done.stderr.count("\n") == 1


@pytest.mark.parametrize("width", ["0", "abc"])
def test_a_terminal_without_a_width_gets_its_text(folder, width):
    done = run(folder, "check", "case.toml", COLUMNS=width)
    assert done.returncode == 0 and "30 m/s" in done.stdout


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no /dev/full")
@pytest.mark.parametrize("command", ["check case.toml", "--version"])
def test_a_full_output_is_said(folder, command):
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "blownwing.cli", *command.split()], cwd=folder, stdout=full,
            stderr=subprocess.PIPE, text=True, check=False, timeout=60,
        )  # fmt: skip
    assert done.returncode == 1
    assert done.stderr == "blownwing: the system: No space left on device\n"


def test_without_a_place_for_its_cache_kernels_are_compiled_all_the_same(monkeypatch):
    real = jit.numba.njit

    def nowhere(cache=False, **options):
        def refuse(_function):
            raise RuntimeError("cannot cache function 'f': no locator available for file 'f.py'")

        return refuse if cache else real(**options)

    monkeypatch.setattr(jit.numba, "njit", nowhere)
    with pytest.warns(RuntimeWarning, match="NUMBA_CACHE_DIR"):
        assert jit._writable_cache() is False
    monkeypatch.setitem(jit._OPTIONS, "cache", False)
    assert jit.numba.njit(**jit._OPTIONS)(lambda x: 2.0 * x)(1.5) == 3.0

    def broken(**_options):
        raise RuntimeError("something else")

    monkeypatch.setattr(jit.numba, "njit", broken)
    with pytest.raises(RuntimeError, match="something else"):
        jit._writable_cache()


def test_a_section_file_read_twice_is_the_same(folder):
    # control: the text helper gives what the file holds
    assert input_bytes(folder / "sections" / "own.csv") == SECTION.encode()
    with pytest.raises(InputError, match="folder"):
        input_bytes(folder)
