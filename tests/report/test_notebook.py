"""What a result shows of itself in a session: one line, markup, labelled arrays, figures."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest
from matplotlib.figure import Figure
from numpy.testing import assert_allclose
from sample import polar, single

from blownwing import Case, InputError
from blownwing.case.reader import parse_case
from blownwing.solution import VARIABLES


def test_one_line_says_what_it_is() -> None:
    for result in (single(), polar()):
        assert len(repr(result)) < 200 and "\n" not in repr(result)
        assert "Sample wing with eight propellers" in repr(result) and "8 propellers" in repr(
            result
        )
    assert "CL 0.6079" in repr(single()) and "3 angles" in repr(polar())
    case = parse_case(single().case_toml)
    assert isinstance(case, Case) and len(repr(case)) < 200 and len(str(case)) < 200


def test_markup_has_the_numbers_the_figure_and_the_caution() -> None:
    text = single()._repr_html_()
    assert text.count("<svg") == 1 and "not for flight clearance" in text
    assert "5 digits" not in text and f"{single().totals['lift']:.1f}"[:4] in text
    HTMLParser().feed(text)
    hostile = replace(single(), title="<script>alert(1)</script>")
    assert "<script" not in hostile._repr_html_()


def test_labelled_arrays_are_those_of_the_result() -> None:
    result = polar()
    strips = result.to_xarray("strips")
    assert strips.cl.dims == ("flow_alpha", "y") and strips.cl.attrs["units"] == "1"
    assert_allclose(strips.cl.sel(flow_alpha=4.0), single(4.0).strips["cl"])
    assert strips.y.dims == ("y",) and strips.y.attrs == {
        "units": "m",
        "long_name": VARIABLES["strips"]["y"].long_name,
    }
    strips["cl"].values[:] = 0.0  # a copy: the result stays
    assert np.all(result.strips["cl"] != 0.0)
    tree = result.to_xarray()
    assert {"totals", "strips", "propellers", "slipstreams", "convergence"} <= set(tree.children)
    assert float(tree["propellers/inner"].thrust[0]) == 120.0
    with pytest.raises(InputError, match='found "wings"; accepted are totals'):
        result.to_xarray("wings")


def test_figures_are_returned_and_nothing_is_kept_open() -> None:
    import matplotlib.pyplot as plt

    one = single()
    made = [one.plot_plan(), one.plot_loading(), one.plot_slipstream(), one.plot_blades(),
            one.plot_convergence(), polar().plot_polar(), polar().plot_loading(8.0)]  # fmt: skip
    assert all(isinstance(figure, Figure) for figure in made)
    assert plt.get_fignums() == []
    assert "α 8°" in made[-1].axes[0].get_title(loc="left")
    with pytest.raises(InputError, match="several angles"):
        one.plot_polar()
    with pytest.raises(InputError, match="accepted are the result's angles, 0, 4, 8"):
        polar().plot_loading(5.0)


def test_loading_a_result_loads_no_drawing() -> None:
    code = (
        "import sys, blownwing.solution.model, blownwing.solution.storage; "
        "print('matplotlib' in sys.modules, 'xarray' in sys.modules)"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.split() == ["False", "False"]
