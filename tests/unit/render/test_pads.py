"""Pads and prints behave as strips and printers do."""

import numpy as np
import pytest

from tests.render import inks, strips
from tests.render.pads import Pads, chart_steps, thick_layer, value_at
from tests.render.spectra import de00

CHARTS = [(family, pad) for family, kind in strips.FAMILIES.items() for pad in kind.pads]


def test_a_thick_layer_inverts_to_its_absorption():
    """K/S = (1 - R)^2 / (2 R): Kubelka and Munk, Z. tech. Phys. 12, 593, 1931."""
    k_over_s = np.array([0.01, 0.3, 2.0, 9.0])
    r = thick_layer(k_over_s)
    assert (1 - r) ** 2 / (2 * r) == pytest.approx(k_over_s)


@pytest.mark.parametrize(("family", "pad"), CHARTS)
def test_neighbouring_blocks_can_be_told_apart_and_follow_a_path(family, pad):
    """Steps of 2 to 30 dE00, as printed charts have them; common practice, no source."""
    labs = np.array([Pads(3, family).lab(pad.analyte, value) for value in pad.blocks])
    steps = de00(labs[1:], labs[:-1])
    assert (steps > 2.0).all()
    assert (steps < 30.0).all()
    assert de00(labs[0], labs[-1]) > steps.max()


@pytest.mark.parametrize(("family", "pad"), CHARTS)
def test_chart_steps_count_blocks_and_invert(family, pad):
    assert [chart_steps(pad, v) for v in pad.blocks] == pytest.approx(range(len(pad.blocks)))
    for steps in (0.3, 1.5, len(pad.blocks) - 1.2):
        assert chart_steps(pad, value_at(pad, steps)) == pytest.approx(steps)


def test_strips_of_a_lot_vary_and_lots_differ():
    blue = [Pads(1, strip=n).lab("ph", 7.4) for n in (None, 1, 2)]
    assert 0.1 < de00(blue[1], blue[2]) < 5.0
    assert de00(Pads(2).lab("ph", 7.4), blue[0]) > 0.5


def test_a_profiled_printer_comes_nearer_than_an_office_one():
    rng = np.random.default_rng(8)
    wanted = np.stack([rng.uniform(40, 85, 24), *rng.uniform(-25, 35, (2, 24))], axis=1)
    off = {
        kind: np.median([de00(inks.Print(s, kind).lab(wanted), wanted) for s in range(6)])
        for kind in inks.KINDS
    }
    assert off["profiled"] < off["plain"] < off["office"]
    assert 0.3 < off["profiled"] < 2.0
    assert 2.0 < off["office"] < 5.0


def test_an_instrument_reads_the_print_with_its_noise():
    wanted = np.array([[60.0, 20.0, 10.0]] * 200)
    off = inks.Print(4).measured(wanted) - inks.Print(4).lab(wanted)
    assert off.std() == pytest.approx(0.25, rel=0.15)
