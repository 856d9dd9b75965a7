"""README's table of reason codes, as the registries have it; run it to write the table anew."""

from pathlib import Path

from api.reasons import all_reasons
from api.words import whole

README = Path(__file__).parents[2] / "README.md"
HEAD = "| code | weight | what was seen | what to do |\n|---|---|---|---|"


def reason_table():
    rows = [
        f"| `{one.code}` | {one.weight} | {whole(one.sentence)} | {whole(one.cure)} |"
        for one in all_reasons().values()
    ]
    return "\n".join([HEAD, *rows]) + "\n"


def main():
    text = README.read_text(encoding="utf-8")
    start = text.index(HEAD)
    end = text.index("\n\n", start)
    README.write_text(text[:start] + reason_table() + text[end + 1 :], encoding="utf-8")


if __name__ == "__main__":
    main()
