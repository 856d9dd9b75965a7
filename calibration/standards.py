"""Make a table from photographed strips dipped in waters of known value.

The strips of one value should look alike; how much they differ is estimated over all values of a
pad together. A strip that lies too far from its fellows is named and set aside; one a little off
weighs less. What cannot work (values that look alike, a fold) is refused with the reason.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.stats import f as f_distribution

from calibration.alike import PHOTO_SD, alike_share, out_of_order, steps, worst_fold
from calibration.curve import fit_curve, pooled_cov
from calibration.lab import Cov, Lab, delta_e00
from calibration.rows import TableError
from calibration.table import Block, PadChart, PadPlan, Table, chart_of, without

Array = NDArray[np.float64]

FALSE_ALARMS = 0.05
"""Chance that a table without any bad strip names one all the same."""

ODD_DE00 = 3.0
"""A strip nearer its fellows than this is not named, however little they differ: photos of good
strips differ so much now and then, and the biweight takes its pull away all the same."""

BISQUARE = 4.7
"""Mahalanobis distance at which a strip's weight in the mean reaches zero: Tukey's biweight,
95 % efficient for normal data in one dimension (4.685), more in three."""

PRIOR_DOF = 2.0
"""Weight, in degrees of freedom, of the usual scatter of photos where there are few repeats."""

ALIKE_CHANCE = 0.2
"""Neighbours whose means differ by no more than strips of one value do, at this chance, make no
chart (T square) ..."""

ALIKE_DE00 = 1.0
"""... and none whose means lie nearer than this: about what the eye can just tell apart."""

REFUSED_SHARE = 0.25
"""More of the chart than this fitting two values: a fold, no chart."""


@dataclass(frozen=True, eq=False)
class StandardPad:
    """One pad of one strip, in water of known value."""

    photo: str
    pad: int
    value: float
    lab: Lab
    """CIELAB, D50 / 2 degree, shape (3,)."""


@dataclass(frozen=True)
class SetAside:
    """A strip that does not look like its fellows and was left out."""

    photo: str
    pad: int
    analyte: str
    value: float
    distance: float
    """Distance from its fellows in standard deviations of a strip."""
    lab_off: tuple[float, float, float]
    """By how much it differs in L, a, b."""

    @property
    def sentence(self) -> str:
        """Say which photo, where, how far off and what to do."""
        L, a, b = self.lab_off
        return (
            f"{self.photo}: pad {self.pad} ({self.analyte} {self.value:g}) differs from the other "
            f"strips by L {L:+.1f}, a {a:+.1f}, b {b:+.1f} ({self.distance:.0f} times their "
            "scatter) and was set aside; check what was typed for it, or dip this water again"
        )


@dataclass(frozen=True, eq=False)
class BuiltTable:
    """A table with what was set aside and what else a person should know."""

    table: Table
    set_aside: tuple[SetAside, ...]
    notes: tuple[str, ...]


def table_from_standards(
    plans: Sequence[PadPlan],
    measured: Iterable[StandardPad],
    name: str = "table",
    expires: date | None = None,
) -> BuiltTable:
    """Return a table with the mean and scatter of the strips at each value.

    Parameters
    ----------
    plans
        The pads of the strip.
    measured
        One entry for each pad of known value in each photo.
    name
        What messages call the list of photos.

    Raises
    ------
    TableError
        Where no chart can be made: fewer than two values, strips that contradict one another,
        values that look alike, a fold.
    """
    by_pad: dict[int, list[StandardPad]] = defaultdict(list)
    for entry in measured:
        by_pad[entry.pad].append(entry)
    charts, aside, notes, unknown = [], [], [], []
    tests = sum(len(entries) for entries in by_pad.values())
    for plan in plans:
        entries = by_pad.get(plan.pad, [])
        if not entries:
            unknown.append(f"pad {plan.pad} ({plan.analyte})")
            continue
        blocks, odd = _blocks(plan, entries, FALSE_ALARMS / tests, name)
        charts.append(_working(chart_of(plan, blocks, "standards"), name))
        aside += odd
        notes += _notes(charts[-1])
    if not charts:
        raise TableError(f"{name}: no photo shows a pad of known value; check analytes and photos")
    if unknown:
        notes.append(f"no known value, so not read with this table: {', '.join(unknown)}")
    first = plans[0]
    table = Table(first.strip, first.lot, tuple(charts), expires, name, without(plans, charts))
    return BuiltTable(table, tuple(aside), tuple(notes))


def _blocks(
    plan: PadPlan, entries: Sequence[StandardPad], chance: float, name: str
) -> tuple[tuple[Block, ...], list[SetAside]]:
    groups: dict[float, list[StandardPad]] = defaultdict(list)
    for entry in entries:
        groups[entry.value].append(entry)
    if len(groups) < 2:
        raise TableError(
            f"{name}: pad {plan.pad} ({plan.analyte}) was dipped in one known value only; "
            "a chart needs at least two, better five"
        )
    odd = find_odd(entries, chance)
    aside = [_aside(plan, entries[i], entries, odd) for i in sorted(odd)]
    kept = [entry for i, entry in enumerate(entries) if i not in odd]
    scatter = pooled_scatter(kept)
    blocks = []
    for value in sorted(groups):
        good = np.array([entry.lab for entry in kept if entry.value == value])
        if 2 * len(good) <= len(groups[value]) and len(good) < len(groups[value]):
            photos = ", ".join(entry.photo for entry in groups[value])
            raise TableError(
                f"{name}: the strips of pad {plan.pad} ({plan.analyte} {value:g}) contradict one "
                f"another and none can be told the odd one ({photos}); dip this water again"
            )
        blocks.append(_block(value, good, scatter))
    return tuple(blocks), aside


def find_odd(entries: Sequence[StandardPad], chance: float) -> dict[int, float]:
    """Return the places of strips unlike their fellows, each with its distance.

    One at a time, the furthest first: each strip is held against the mean of the others of its
    value, under the scatter of all others (Hotelling's T square of a deleted residual), until
    none lies further off than by the `chance` given.

    References
    ----------
    .. [1] R. D. Cook, S. Weisberg, "Residuals and Influence in Regression", Chapman and Hall
       1982, section 2.2.2 (outlier test by the deleted residual). Source key: cook1982.
    """
    odd: dict[int, float] = {}
    while True:
        left = [i for i in range(len(entries)) if i not in odd]
        squares, dof = _deleted_squares([entries[i] for i in left])
        if not len(squares) or squares.max() <= 0.0:
            return odd
        worst = int(squares.argmax())
        if f_distribution.sf(*_as_f(float(squares[worst]), dof)) > chance:
            return odd
        odd[left[worst]] = float(np.sqrt(squares[worst]))


def _as_f(square: float, dof: float) -> tuple[float, float, float]:
    """Return Hotelling's T square of three coordinates as an F value with its dof."""
    return square * (dof - 2.0) / (3.0 * dof), 3.0, dof - 2.0


def _deleted_squares(entries: Sequence[StandardPad]) -> tuple[Array, float]:
    """Return T square of each strip against the others, (n,), and the dof of the scatter.

    A strip alone at its value has none (0), nor has one near its fellows.
    """
    labs = np.array([entry.lab for entry in entries])
    values = np.array([entry.value for entry in entries])
    same = values[:, None] == values[None]
    count = same.sum(axis=1)
    off = labs - same @ labs / count[:, None]
    scatter, dof = pooled_scatter(entries)
    spare = np.maximum(count - 1.0, 1.0)
    without = scatter * dof - (count / spare)[:, None, None] * off[:, :, None] * off[:, None, :]
    deleted = off * (count / spare)[:, None]  # from the mean of the others
    near = delta_e00(labs, labs - deleted) < ODD_DE00
    cov = without / (dof - 1.0) * (1.0 + 1.0 / spare)[:, None, None]
    squares = np.einsum("ni,ni->n", deleted, np.linalg.solve(cov, deleted[:, :, None])[..., 0])
    return np.where((count > 1) & ~near, squares, 0.0), dof - 1.0


def pooled_scatter(entries: Sequence[StandardPad]) -> tuple[Cov, float]:
    """Return the covariance of strips about their value's mean, (3, 3), and its dof.

    The usual scatter of photos enters with `PRIOR_DOF`, so that few strips give no false zero.
    """
    groups: dict[float, list[Lab]] = defaultdict(list)
    for entry in entries:
        groups[entry.value].append(entry.lab)
    total = PRIOR_DOF * np.diag(np.square(PHOTO_SD))
    dof = PRIOR_DOF
    for labs in groups.values():
        off = np.array(labs) - np.mean(labs, axis=0)
        total = total + off.T @ off
        dof += len(labs) - 1.0
    return total / dof, dof


def _aside(
    plan: PadPlan, entry: StandardPad, entries: Sequence[StandardPad], odd: dict[int, float]
) -> SetAside:
    place = next(i for i, other in enumerate(entries) if other is entry)
    fellows = [
        other.lab for i, other in enumerate(entries) if i not in odd and other.value == entry.value
    ]
    off = entry.lab - (np.mean(fellows, axis=0) if fellows else entry.lab)
    L, a, b = (float(x) for x in off)
    return SetAside(entry.photo, plan.pad, plan.analyte, entry.value, odd[place], (L, a, b))


def _block(value: float, labs: Array, scatter: tuple[Cov, float]) -> Block:
    """Return the block of the strips kept, each weighed by how near it lies to the others."""
    mean = biweight_mean(labs, scatter[0])
    if len(labs) == 1:
        return Block(value, mean, 1, None)
    off = labs - labs.mean(axis=0)
    return Block(value, mean, len(labs), off.T @ off / (len(labs) - 1))


def biweight_mean(labs: Array, scatter: Cov) -> Lab:
    """Return the mean of colours (n, 3) in which far ones weigh less; plain for one or two."""
    if len(labs) < 3:
        return np.asarray(labs.mean(axis=0))
    inverse = np.linalg.inv(scatter)
    mean = np.median(labs, axis=0)
    for _ in range(20):
        off = labs - mean
        far = np.einsum("ij,jk,ik->i", off, inverse, off) / BISQUARE**2
        weights = np.maximum(1.0 - far, 1e-6) ** 2
        mean = weights @ labs / weights.sum()
    return np.asarray(mean)


def _working(chart: PadChart, name: str) -> PadChart:
    """Return the chart; raise `TableError` where it cannot tell its values apart."""
    curve = fit_curve(chart)
    place = f"pad {chart.pad} ({chart.analyte})"
    for step, chance in zip(steps(curve), _chances_alike(chart), strict=True):
        if chance > ALIKE_CHANCE or step.delta_e00 < ALIKE_DE00:
            raise TableError(
                f"{name}: {place} looks alike at {step.start:g} and {step.end:g} "
                f"(CIEDE2000 {step.delta_e00:.1f}, no more than strips of one value differ); "
                "leave one of the two values out or dip both again"
            )
    moved = out_of_order(chart)
    if moved:
        values = " and ".join(f"{value:g}" for value in moved)
        raise TableError(
            f"{name}: {place} shows at {values} a colour that fits another place better; "
            "check that photos and waters were not exchanged"
        )
    fold = worst_fold(curve)
    if fold is not None and alike_share(curve) > REFUSED_SHARE:
        raise TableError(
            f"{name}: {place} folds: it shows nearly the same colour at {fold[0]:.3g} and "
            f"{fold[1]:.3g}; leave out the values past the turn"
        )
    return chart


def _chances_alike(chart: PadChart) -> list[float]:
    """Return for each step the chance of so large a difference between strips of one value."""
    repeats = [block for block in chart.blocks if block.cov is not None]
    if not repeats:
        return [0.0] * (len(chart.blocks) - 1)
    pooled, total = pooled_cov(repeats)
    dof = total + PRIOR_DOF
    scatter = (pooled * total + PRIOR_DOF * np.diag(np.square(PHOTO_SD))) / dof
    found = []
    for one, two in pairwise(chart.blocks):
        off = two.lab - one.lab
        square = off @ np.linalg.solve(scatter * (1.0 / one.n + 1.0 / two.n), off)
        found.append(float(f_distribution.sf(*_as_f(float(square), dof))))
    return found


def _notes(chart: PadChart) -> list[str]:
    place = f"pad {chart.pad} ({chart.analyte})"
    few = [block for block in chart.blocks if block.n < 4]
    notes = []
    if few:
        values = ", ".join(f"{block.value:g}" for block in few)
        notes.append(f"{place}: fewer than four strips at {values}; four or more are advised")
    near = [step for step in steps(fit_curve(chart)) if step.alike]
    notes += [
        f"{place}: {step.start:g} and {step.end:g} are hard to tell apart "
        f"(CIEDE2000 {step.delta_e00:.1f}); readings there will be wide"
        for step in near
    ]
    return notes
