"""`dipstep table check` from the command line."""

import json

import pytest

from api.cli import main

HEADER = "strip,lot,pad,analyte,unit,read_after_s,centre_mm,size_mm,value,L,a,b\n"
GOOD = HEADER + "".join(
    f"fern,A7,1,ph,pH,15,6,5,{value},{lab}\n"
    for value, lab in [(6.2, "78,6,46"), (6.8, "73,15,38"), (7.2, "68,22,30"), (7.8, "61,32,15")]
)


def run(capsys, *args):
    status = main(["table", "check", *map(str, args)])
    told = capsys.readouterr()
    return status, told.out, told.err


def test_a_good_table_is_trusted(tmp_path, capsys):
    path = tmp_path / "lot.csv"
    path.write_text(GOOD)

    status, out, err = run(capsys, path, "--json")

    answer = json.loads(out)
    assert (status, err) == (0, "")
    assert (answer["verdict"], answer["faults"]) == ("good", [])
    assert len(answer["pads"][0]["steps"]) == 3


def test_people_get_the_same_in_words_and_pictures(tmp_path, capsys):
    path = tmp_path / "lot.csv"
    path.write_text(GOOD)

    status, out, err = run(capsys, path, "--picture", tmp_path / "pictures")

    assert status == 0
    assert "This table can be trusted." in out
    assert (tmp_path / "pictures" / "pad-1.svg").read_text().startswith("<svg")
    assert "wrote" in err


def test_a_broken_table_lists_every_fault_and_exits_1(tmp_path, capsys):
    path = tmp_path / "lot.csv"
    path.write_text(GOOD.replace("7.2,68", "7.2,bright").replace("7.8,61", '"7,8",61'))

    status, out, err = run(capsys, path, "--json")

    assert status == 1
    assert [fault["line"] for fault in json.loads(out)["faults"]] == [4, 5]
    assert err == (
        f"dipstep: {path}, line 4: L 'bright' is not a number; "
        "use digits and a decimal point, for example 62.5 (and 1 more)\n"
    )


@pytest.mark.parametrize("data", [b"", b"\xff\xfe\x00", b"\x89PNG\r\n\x1a\n\x00", b"\xe9t\xe9"])
def test_what_is_no_table_gets_its_sentence(tmp_path, capsys, data):
    path = tmp_path / "lot.csv"
    path.write_bytes(data)

    status, _, err = run(capsys, path)

    assert status == 1
    assert err.startswith(f"dipstep: {path}")
    assert err.count("\n") == 1


def test_a_missing_file_and_wrong_usage(tmp_path, capsys):
    assert run(capsys, tmp_path / "none.csv")[0] == 1
    with pytest.raises(SystemExit, match="2"):
        main(["table", "check"])
