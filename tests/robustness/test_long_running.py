"""Many solves in one process, several writers of one result, a disk that is full."""

import errno
import gc
import multiprocessing
import resource
import subprocess
import sys
from pathlib import Path

import psutil
import pytest
from fuzzed import GOOD
from sweeps import BLADE_CASE, sections_and_blade

from blownwing import SolveError, load, read_case, solve
from blownwing.case.reader import parse_case
from blownwing.report import html_report


@pytest.fixture(scope="module")
def case():
    return parse_case(GOOD)


def peak_memory():
    """Largest memory the process has used, MiB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def soak(case, warm, number):
    """Growth of memory, MiB, over a number of solves that differ."""
    for k in range(warm):
        solve(case.replace(**{"flow.alpha": 2.0 + 1e-3 * k}))
    before = peak_memory()
    for k in range(number):
        place = [-0.6, 1.5 + 1e-4 * (k % 500), 0.0]
        solve(case.replace(**{"propellers.0.position": place, "flow.alpha": 2.0 + 1e-3 * k}))
    grown = peak_memory() - before
    print(f"{number} solves after {warm}: memory grew by {grown:.1f} MiB from {before:.0f}")
    return grown


@pytest.mark.slow
def test_sixty_solves_do_not_grow(case):
    assert soak(case, 20, 60) < 8.0


@pytest.mark.slow
def test_five_thousand_solves_do_not_grow(case):
    # 1 KiB lost in each would show
    assert soak(case, 200, 5000) < 5.0


@pytest.mark.slow
def test_two_thousand_solves_keep_memory_within_a_percent_and_handles_constant(tmp_path):
    # the cases differ in propellers with blades, edges and place; results are written and read
    sections_and_blade(tmp_path)
    (tmp_path / "case.toml").write_text(BLADE_CASE, encoding="utf-8")
    plain = read_case(tmp_path / "case.toml")
    case, process = plain.replace(**{"model.jet_edge": True}), psutil.Process()

    def some(first, number):
        for k in range(first, first + number):
            place = [-0.6, 1.5 + 1e-4 * (k % 700), 0.0]
            edits = {"propellers.0.position": place, "flow.alpha": 2.0 + 1e-3 * k}
            solution = solve((case if k % 2 else plain).replace(**edits))
            if k % 10 == 0:
                load(solution.save(tmp_path / "one.h5"))

    def state():
        gc.collect()
        used = process.memory_info().rss / 2**20
        return used, process.num_fds(), process.num_threads()

    some(0, 300)
    states = [state()]
    for block in range(4):
        some(300 + 500 * block, 500)
        states.append(state())
    print("MiB, handles, threads:", *(f"{m:.1f} {h} {t};" for m, h, t in states))
    assert states[-1][0] <= 1.01 * states[0][0]
    assert len({handles for _, handles, _ in states}) == 1
    assert len({threads for _, _, threads in states}) == 1


def save_many(place, alpha, number, failures):
    solution = solve(parse_case(GOOD).replace(**{"flow.alpha": alpha}))
    for _ in range(number):
        try:
            solution.save(place)
        except Exception as error:
            failures.put(repr(error))


@pytest.mark.slow
def test_writers_of_one_result_leave_one_of_theirs_whole(tmp_path):
    place = tmp_path / "shared.h5"
    solve(parse_case(GOOD)).save(place)
    context = multiprocessing.get_context("spawn")
    failures = context.Queue()
    alphas = (1.0, 2.0)
    writers = [
        context.Process(target=save_many, args=(place, alpha, 10, failures)) for alpha in alphas
    ]
    for writer in writers:
        writer.start()
    seen = set()
    while any(writer.is_alive() for writer in writers):
        seen.add(round(load(place).totals["alpha"], 9))  # every moment there is a whole file
    for writer in writers:
        writer.join(60.0)
        assert writer.exitcode == 0
    assert failures.empty()
    assert load(place).totals["alpha"] in alphas
    assert seen <= {1.0, 2.0, 4.0} and len(seen) > 1
    assert [path.name for path in tmp_path.iterdir()] == ["shared.h5"]


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EDQUOT, errno.EIO])
def test_a_disk_that_is_full_is_said_and_the_old_page_stays(tmp_path, monkeypatch, number):
    monkeypatch.setattr(html_report, "report_page", lambda _solution: "a page")
    place = html_report.write_report(None, tmp_path / "page.html")

    def full(path, *_args, **_options):
        with open(path, "wb") as stream:
            stream.write(b"half")
        raise OSError(number, "no room")

    with monkeypatch.context() as patched:
        patched.setattr(Path, "write_text", full)
        with pytest.raises(SolveError, match=r"page\.html: could not be written \(no room\)"):
            html_report.write_report(None, place)
    assert place.read_bytes() == b"a page"
    assert [path.name for path in tmp_path.iterdir()] == ["page.html"]


FULL_DISK = """
import resource, signal, sys
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
import blownwing.cli, blownwing.coupling, h5py  # compiled code is cached before the disk is full
resource.setrlimit(resource.RLIMIT_FSIZE, (2000, resource.RLIM_INFINITY))
sys.argv = ["blownwing", "solve", "case.toml"]
blownwing.cli.main()
"""


@pytest.fixture(scope="module")
def full_disk(tmp_path_factory):
    """What solve says where no file may grow beyond 2000 bytes, which fails as a full disk does."""
    folder = tmp_path_factory.mktemp("full")
    (folder / "case.toml").write_text(GOOD, encoding="utf-8")
    ran = subprocess.run(
        [sys.executable, "-c", FULL_DISK], cwd=folder, capture_output=True, text=True, check=False
    )
    return ran, sorted(path.name for path in folder.iterdir())


def test_a_full_disk_is_said_and_leaves_nothing(full_disk):
    ran, left = full_disk
    assert ran.returncode != 0
    assert "blownwing: case.h5: could not be written" in ran.stderr
    assert left == ["case.toml"]


def test_a_full_disk_ends_in_one_sentence(full_disk):
    ran, _ = full_disk
    assert ran.returncode == 1
    assert "Traceback" not in ran.stderr
    assert ran.stderr.count("\n") == 1
