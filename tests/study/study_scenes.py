"""Small studies for the tests: a rectangular wing with two pairs of propellers, few panels."""

from pathlib import Path

from blownwing.case.writer import toml_text
from blownwing.study.runner import coupled_run, keeps_lattice

CASES = Path(__file__).parents[2] / "cases"
BLADE = Path(__file__).parents[2] / "shared" / "blades" / "tunnel_4.csv"


def fixed_lattice(base):
    """Runs on kept lattices, None where there are none."""
    return coupled_run(base, still=True) if keeps_lattice(base) else None


def case_tables(**model):
    stations = [{"y": 0.0, "chord": 1.0}, {"y": 4.0, "chord": 1.0}]
    propellers = [
        {
            "name": name,
            "position": [-0.6, y, 0.0],
            "diameter": 0.8,
            "blades": 4,
            "blade": str(BLADE),
            "spin": "inboard_up",
            "mirror": True,
            "thrust": 120.0,
        }
        for name, y in (("inner", 1.2), ("outer", 2.8))
    ]
    options = {"chordwise": 2, "spanwise": 10, "jet_edge": False, "compressibility": False}
    return {
        "title": "two pairs",
        "flow": {"airspeed": 30.0, "alpha": 5.0},
        "wing": {"stations": stations},
        "propellers": propellers,
        "model": {**options, **model},
    }


def written(folder, sweep, edits="", tables=None):
    """Write case.toml and study.toml into a folder; returns the study's path."""
    (folder / "case.toml").write_text(toml_text(tables or case_tables()), encoding="utf-8")
    study = folder / "study.toml"
    study.write_text(
        f'title = "a study"\ncase = "case.toml"\n[edits]\n{edits}\n[sweep]\n{sweep}\n',
        encoding="utf-8",
    )
    return study


def parameter(key, **values):
    lines = [f'key = "{key}"', *(f"{name} = {value}" for name, value in values.items())]
    return "\n[[sweep.parameters]]\n" + "\n".join(lines) + "\n"
