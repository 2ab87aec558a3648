"""5000 odd inputs over all commands: no internal error, no hang, nothing overwritten.

They run in one process each block, so that imports and compiled kernels are shared; a sweep's
cases run in that process too.
"""

import os
import random
import shutil
import signal
from collections import Counter

import pytest
from aircraft_scene import TABLES
from sweeps import (
    BLADE,
    BLADE_CASE,
    SECTION,
    STUDY,
    called,
    sections_and_blade,
    sweeps_in_this_process,
)

from blownwing.case.writer import toml_text

BLOCKS, EACH = 20, int(os.environ.get("BLOWNWING_FUZZ", "250"))
SLOWEST = 20  # s
SEARCHES = 120  # s, for a whole aircraft or a search, which take most of a minute when good
SPEC = """title = "blade"
[point]
airspeed = 28.0
thrust = 90.0
[propeller]
diameter = 0.8
blades = 5
rpm = 3600
section = "sections/own.csv"
[map]
points = 4
pitches = 4
[wing]
span = 6.0
chord = 1.0
ahead = 0.5
"""
SHAPE = 'case = "case.toml"\n[optimize]\nstarts = 1\ncontrols = 4\n'
PLACE = """case = "case.toml"
[placement]
objective = "power"
starts = 1
[[placement.parameters]]
key = "propellers.all.diameter"
from = 0.6
to = 0.7
"""
WORDS = ["", "x", "true", "nan", "inf", "-1", "0", "1e300", "1e-310", "1e20", "[]", "[1, 2]", "{}",
         '"18 in"', '"-5 kt"', '"../x.csv"', '"case.toml"', '"blade.csv"', '"\\u0000"', "'='",
         '"tables"', '"disc"', '"every"', "9" * 400, "-0.0", "1979-05-27", '"' + "n" * 300 + '"',
         "false", "3", "0.5", "45.0", "[[1.0]]", '"/dev/zero"', '"sections"', '"."',
         "[true]", "2.0", "1e-6", "90.0"]  # fmt: skip
# command, what it writes, weight
COMMANDS = [
    ("check case.toml", 6), ("solve case.toml", 8), ("solve case.toml --csv --vtk", 2),
    ("solve case.toml -o {out}", 3), ("solve case.toml --target {text}", 2),
    ("solve case.toml --peak --weight {text}", 1), ("solve case.toml --convergence", 1),
    ("plot result.h5", 1), ("report result.h5", 1), ("plot {file}", 1), ("report {file}", 1),
    ("report result.h5 -o {out}", 1), ("sweep study.toml", 5), ("sweep study.toml --restart", 2),
    ("sweep study.toml -o {out}", 2), ("sweep study.toml --scheduler {text}", 1),
    ("optimize shape.toml", 0.15), ("optimize place.toml", 0.15), ("optimize {file}", 1),
    ("design-propeller spec.toml", 2), ("design-propeller {file} -o {out}", 1),
    ("aircraft plane.toml", 0.15), ("aircraft case.toml", 1), ("aircraft {file}", 1),
    ("aircraft plane.toml --trade {text}", 0.3), ("validate {text}", 0.5),
    ("validate --folder {file}", 1), ("explore {file} --no-browser", 0.5),
    ("{text} case.toml", 0.5),
]  # fmt: skip
OUTS = ["out.h5", "case.toml", "blade.csv", "study.h5", "case.h5", "sections", "sections/own.csv",
        "no/such/folder.h5", ".", "", "n" * 300 + ".h5", "/dev/full", "result.h5", "x.html",
        "../up.h5", "study.toml", "shape_optimum.toml"]  # fmt: skip
FILES = ["case.toml", "study.toml", "spec.toml", "blade.csv", "sections/own.csv", "shape.toml",
         "place.toml", "plane.toml"]  # fmt: skip
INPUTS = {*FILES, "result.h5"}


TEXTS = ["CL=0.5", "CL=x", "lift=1e9", "weight=3000", "2000", "propellers=2..4",
         "propellers=4..2", "tcp://127.0.0.1:1", "elliptic_wing"]  # fmt: skip


class Late(BaseException):
    """A command that takes too long; no Exception, so that nothing turns it into a sentence."""


@pytest.fixture(scope="module")
def good(tmp_path_factory):
    folder = tmp_path_factory.mktemp("good")
    sections_and_blade(folder)
    texts = {"case.toml": BLADE_CASE, "study.toml": STUDY, "spec.toml": SPEC, "shape.toml": SHAPE,
             "place.toml": PLACE, "plane.toml": toml_text(TABLES)}  # fmt: skip
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    done = called(folder, "solve", "case.toml", "-o", "result.h5")
    assert done.exit_code == 0, done.output
    assert (folder / "blade.csv").read_text() == BLADE and SECTION
    for number, command in enumerate(("design-propeller spec.toml", "aircraft plane.toml")):
        # kernels are compiled before anything is timed
        warm = folder.with_name(f"warm{number}")
        shutil.copytree(folder, warm)
        assert called(warm, *command.split()).exit_code == 0
    return folder


def worse(text, draw):
    """A text with one to three lines changed, dropped, doubled, cut or filled with noise."""
    lines = text.split("\n")
    for _ in range(draw.randint(1, 3)):
        at = draw.randrange(len(lines))
        what = draw.randrange(7)
        key, equals, _ = lines[at].partition(" = ")
        cells = lines[at].split(",")
        if what <= 2 and equals:
            lines[at] = f"{key} = {draw.choice(WORDS)}"
        elif what <= 3 and len(cells) > 1:
            cells[draw.randrange(len(cells))] = draw.choice(WORDS).strip('"')
            lines[at] = ",".join(cells)
        elif what == 4:
            del lines[at]
        elif what == 5:
            lines.insert(at, lines[draw.randrange(len(lines))])
        else:
            lines[at] = lines[at][: draw.randint(0, len(lines[at]))] + draw.choice("\0=[]'\"é#,\t ")
        if not lines:
            break
    return "\n".join(lines)


def spoiled(folder, draw):
    """Make one or two of the inputs worse."""
    for name in draw.sample(FILES, draw.choice((0, 1, 1, 1, 2))):
        path = folder / name
        what = draw.randrange(12)
        if what == 0:
            data = bytearray(path.read_bytes())
            for _ in range(draw.choice((1, 8))):
                data[draw.randrange(len(data))] ^= 1 << draw.randrange(8)
            path.write_bytes(bytes(data))
        elif what == 1:
            path.unlink()
            draw.choice((path.mkdir, lambda p=path: os.mkfifo(p), lambda: None,
                         lambda p=path: p.symlink_to("/dev/zero")))()  # fmt: skip
        else:
            path.write_text(worse(path.read_text(encoding="utf-8"), draw), encoding="utf-8")
    if draw.random() < 0.05:
        path = folder / "result.h5"
        data = bytearray(path.read_bytes())
        for _ in range(16):
            data[draw.randrange(len(data))] = draw.randrange(256)
        path.write_bytes(bytes(data))


def contents(folder):
    """Bytes of every input that is a regular file."""
    return {name: (folder / name).read_bytes() for name in INPUTS if (folder / name).is_file()}


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="pipes and alarms of POSIX")
@pytest.mark.filterwarnings("default")  # as a user's run has them
@pytest.mark.parametrize("block", range(BLOCKS))
def test_odd_inputs(good, tmp_path, monkeypatch, block):
    sweeps_in_this_process(monkeypatch)  # where the alarm can end them
    monkeypatch.setattr("blownwing.explore.server._Server.serve_forever", lambda self: None)

    def late(_number, _frame):
        raise Late

    before = signal.signal(signal.SIGALRM, late)
    draw, codes, bad = random.Random(block), Counter(), []
    for number in range(EACH):
        folder = tmp_path / f"n{number}"
        shutil.copytree(good, folder)
        spoiled(folder, draw)
        (command,) = draw.choices([c for c, _ in COMMANDS], [w for _, w in COMMANDS])
        words = [
            word.format(out=draw.choice(OUTS), file=draw.choice(FILES), text=_plain(draw))
            for word in command.split()
        ]
        inputs, said = contents(folder), f"{block}/{number} {words}"
        limit = SEARCHES if words[0] in ("aircraft", "optimize") else SLOWEST
        # on a machine that others use, an input gets its share of the time
        busy = max(1.0, os.getloadavg()[0] / (os.cpu_count() or 1))
        signal.alarm(round(limit * busy))
        try:
            done = called(folder, *words)
        except Late:
            bad.append(f"{said}: no end after {limit} s")
            continue
        finally:
            signal.alarm(0)
        codes[done.exit_code] += 1
        if done.exit_code not in (0, 1, 2):
            bad.append(f"{said}: exit code {done.exit_code}, {done.exception!r}")
        if "internal error" in done.output or "Traceback" in done.output:
            bad.append(f"{said}: {done.output[:500]}")
        if done.exit_code and not done.output.strip():
            bad.append(f"{said}: nothing said")
        now = contents(folder)
        lost = [name for name, data in inputs.items() if now.get(name) != data]
        # a result that is given by name as the place of the next one is no input of it
        lost = [name for name in lost if not (name == "result.h5" and name in words)]
        if lost:
            bad.append(f"{said}: {lost} overwritten")
        left = [p.name for p in folder.rglob("*") if ".partial" in p.name]
        if left:
            bad.append(f"{said}: {left} left behind")
        shutil.rmtree(folder)
    signal.signal(signal.SIGALRM, before)
    print(f"block {block}: exit codes {dict(codes)}")
    assert not bad, "\n".join(bad)
    assert codes[0] > 0.1 * EACH and codes[2] > 0.1 * EACH


def _plain(draw):
    """Text for an option: a word of the list, or what the option might take."""
    return draw.choice([*WORDS, *TEXTS]).strip('"')
