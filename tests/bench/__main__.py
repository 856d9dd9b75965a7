"""Benchmarks: `python -m tests.bench NAME [options]`; without a name, the list of them."""

from __future__ import annotations

import ast
import importlib
import sys
from pathlib import Path


def benches() -> dict[str, str]:
    """Names of the benchmarks with the first line of what they say of themselves."""
    found = {}
    for path in sorted(Path(__file__).parent.glob("*.py")):
        tree = ast.parse(path.read_text("utf-8"))
        defines = {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}
        if "main" in defines and path.stem != "__main__":
            found[path.stem] = (ast.get_docstring(tree) or "").splitlines()[0]
    return found


def main(argv: list[str]) -> int:
    """Run one benchmark, or list all."""
    known = benches()
    if not argv or argv[0] in ("-h", "--help"):
        print("python -m tests.bench NAME [options]")
        for name, says in known.items():
            print(f"  {name:14} {says}")
        return 0
    name, *rest = argv
    if name not in known:
        print(f"no benchmark is named {name!r}; there are: {', '.join(known)}", file=sys.stderr)
        return 2
    return int(importlib.import_module(f"tests.bench.{name}").main(rest))


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
