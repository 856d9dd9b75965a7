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
from calibration.lab import Cov, Lab
from calibration.odd import (
    PRIOR_DOF,
    as_f,
    exchanged,
    find_odd,
    looks_like,
    pooled_scatter,
    wrong_photos,
)
from calibration.rows import TableError
from calibration.table import Block, PadChart, PadPlan, Table, chart_of, without

Array = NDArray[np.float64]

FALSE_ALARMS = 0.05
"""Chance that a table without any bad strip names one all the same."""

BISQUARE = 4.7
"""Mahalanobis distance at which a strip's weight in the mean reaches zero: Tukey's biweight,
95 % efficient for normal data in one dimension (4.685), more in three."""

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
    looks_like: float | None = None
    """The other value whose strips it looks like."""

    @property
    def sentence(self) -> str:
        """Say which photo, where, how far off and what to do."""
        L, a, b = self.lab_off
        like = f", looks like {self.looks_like:g}" if self.looks_like is not None else ""
        return (
            f"{self.photo}: pad {self.pad} ({self.analyte} {self.value:g}) differs from the other "
            f"strips by L {L:+.1f}, a {a:+.1f}, b {b:+.1f} ({self.distance:.0f} times their "
            f"scatter){like} and was set aside; check what was typed for it, or dip this water "
            "again"
        )


@dataclass(frozen=True, eq=False)
class BuiltTable:
    """A table with what was set aside and what else a person should know."""

    table: Table
    set_aside: tuple[SetAside, ...]
    notes: tuple[str, ...]
    photos_aside: tuple[str, ...] = ()
    """One sentence for each photo, or two exchanged ones, set aside as a whole."""

    @property
    def told_aside(self) -> list[str]:
        """Return a sentence for everything that was set aside."""
        return [*self.photos_aside, *(odd.sentence for odd in self.set_aside)]


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
    all_ = list(measured)
    by_pad, whole = _without_wrong_photos(all_)
    charts, aside, notes, unknown = [], [], [], []
    tests = len(all_)
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
    photos = _told_of_photos(plans, all_, whole)
    return BuiltTable(table, tuple(aside), tuple(notes), tuple(photos))


def _without_wrong_photos(
    entries: Sequence[StandardPad],
) -> tuple[dict[int, list[StandardPad]], tuple[str, ...]]:
    """Return the strips by pad without photos that are wrong as a whole, and those photos."""
    by_pad: dict[int, list[StandardPad]] = defaultdict(list)
    for entry in entries:
        by_pad[entry.pad].append(entry)
    odd_pads: dict[str, set[int]] = defaultdict(set)
    for pad, fellows in by_pad.items():
        for place in find_odd(fellows, FALSE_ALARMS / len(entries)):
            odd_pads[fellows[place].photo].add(pad)
    whole = wrong_photos(entries, odd_pads)
    kept = {
        pad: [entry for entry in fellows if entry.photo not in whole]
        for pad, fellows in by_pad.items()
    }
    return kept, whole


def _told_of_photos(
    plans: Sequence[PadPlan], entries: Sequence[StandardPad], whole: Sequence[str]
) -> list[str]:
    """Return one sentence for each photo that was left out as a whole, and for each exchange."""
    likes: dict[str, dict[int, tuple[float, float]]] = defaultdict(dict)
    for plan in plans:
        fellows = [entry for entry in entries if entry.pad == plan.pad]
        out = {i for i, entry in enumerate(fellows) if entry.photo in whole}
        for i in out:
            like = looks_like(fellows[i], fellows, out)
            if like is not None:
                likes[fellows[i].photo][plan.pad] = (fellows[i].value, like)
    pairs = exchanged(likes)
    paired = {photo for pair in pairs for photo in pair}
    names = {plan.pad: plan.analyte for plan in plans}
    told = [
        f"{one} and {two} look as if they were exchanged, and both were set aside; exchange their "
        "values in the list, or dip both waters again"
        for one, two in pairs
    ]
    for photo in whole:
        if photo in paired:
            continue
        seen = ", ".join(f"{names[p]} {v:g}" for p, (_, v) in sorted(likes[photo].items()))
        looks = f" (it looks like {seen})" if seen else ""
        told.append(
            f"{photo} differs from its fellows on most of its pads and was set aside as a whole"
            f"{looks}; check the values typed for it, or dip this water again"
        )
    return told


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


def _aside(
    plan: PadPlan, entry: StandardPad, entries: Sequence[StandardPad], odd: dict[int, float]
) -> SetAside:
    place = next(i for i, other in enumerate(entries) if other is entry)
    fellows = [
        other.lab for i, other in enumerate(entries) if i not in odd and other.value == entry.value
    ]
    off = entry.lab - (np.mean(fellows, axis=0) if fellows else entry.lab)
    L, a, b = (float(x) for x in off)
    like = looks_like(entry, entries, odd)
    return SetAside(entry.photo, plan.pad, plan.analyte, entry.value, odd[place], (L, a, b), like)


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
        found.append(float(f_distribution.sf(*as_f(float(square), dof))))
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
