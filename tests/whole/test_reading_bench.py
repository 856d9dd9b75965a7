"""The reading keeps what it once reached: the benchmark's small fixed set against its baseline."""

from tests.bench import reading


def test_no_figure_of_the_reading_fell_behind_its_baseline(capsys):
    status = reading.main(["--check"])
    said = capsys.readouterr().out
    assert status == 0, said.splitlines()[-8:]
