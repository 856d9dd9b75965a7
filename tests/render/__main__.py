"""Render photos with their truth: `python -m tests.render --out DIR --kind good --seeds 0-9`."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

import cv2

from reader.card import load_card, standard_card
from tests.render import samples, shots, strips, tables
from tests.render.pads import Pads
from tests.render.truth import render

ENDINGS = {"jpeg": "jpg", "png": "png", "heic": "heic"}


def seeds(text: str) -> range:
    """`5` or `0-9` as a range."""
    first, _, last = text.partition("-")
    return range(int(first), int(last or first) + 1)


def arguments() -> argparse.ArgumentParser:
    """What can be asked for."""
    parser = argparse.ArgumentParser(prog="python -m tests.render", description=__doc__)
    parser.add_argument("--out", type=Path, default=Path("rendered"))
    parser.add_argument("--samples", type=Path, help="write the sample photos into this folder")
    parser.add_argument("--kind", choices=[*shots.KINDS, "all"], default="good")
    parser.add_argument("--seeds", type=seeds, default=range(4))
    parser.add_argument("--light", choices=sorted({*shots.GOOD_LIGHTS, *shots.CARELESS_LIGHTS}))
    parser.add_argument("--family", choices=sorted(strips.FAMILIES), default="reedmere")
    parser.add_argument("--print-seed", type=int, default=0)
    parser.add_argument("--print-kind", default="office")
    parser.add_argument("--lot", type=int, default=0)
    parser.add_argument("--other", action="store_true", help="the hold-out population")
    parser.add_argument("--megapixels", type=float, default=4.9)
    parser.add_argument("--form", choices=sorted(ENDINGS), default="jpeg")
    parser.add_argument("--card", type=Path, help="a card layout; the built-in one otherwise")
    return parser


def setting_of(args: argparse.Namespace) -> shots.Setting:
    """The shop that the arguments describe."""
    card = load_card(args.card.read_text(), args.card.name) if args.card else standard_card()
    return shots.Setting(
        card, args.print_seed, args.print_kind, args.lot, args.family, None, args.light,
        args.other, pixels=args.megapixels * 1e6, form=args.form,
    )  # fmt: skip


def main(argv: list[str]) -> int:
    """Write what was asked for."""
    cv2.setNumThreads(1)
    args = arguments().parse_args(argv)
    if args.samples:
        samples.write_all(args.samples)
        return 0
    setting = setting_of(args)
    args.out.mkdir(parents=True, exist_ok=True)
    measured = tables.measured_card(setting.card, setting.paper())
    (args.out / "card-measured.txt").write_text(tables.cgats(measured, "rendered print"))
    (args.out / "table.csv").write_text(tables.truth_table(Pads(args.lot, args.family)))
    for kind in shots.KINDS if args.kind == "all" else (args.kind,):
        for seed in args.seeds:
            data, truth = render(setting, seed, kind)
            name = f"{kind}-{seed:04d}"
            (args.out / f"{name}.{ENDINGS[args.form]}").write_bytes(data)
            (args.out / f"{name}.truth.json").write_text(json.dumps(truth, indent=1) + "\n")
            print(name, file=sys.stderr)
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
