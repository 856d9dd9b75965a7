"""Where the shop's own procedures come from."""

import pytest

from api.procedures import beside, shop_procedures


def test_built_in_names_are_left_to_the_engine(tmp_path):
    assert beside(tmp_path)("salt_startup") is None
    assert shop_procedures(tmp_path)("salt_startup") is None


def test_a_path_beside_the_log_is_read(tmp_path):
    (tmp_path / "own.toml").write_text("x = 1")

    assert beside(tmp_path)("own.toml") == "x = 1"
    with pytest.raises(ValueError, match=r"procedure 'gone\.toml': no such file"):
        beside(tmp_path)("gone.toml")


@pytest.mark.parametrize("name", ["../secret.toml", "/etc/passwd", "sub/own.toml", "..\\x.toml"])
def test_no_path_leads_out_of_the_shop_folder(tmp_path, name):
    (tmp_path / "secret.toml").write_text("x = 1")
    (tmp_path / "procedures").mkdir()

    with pytest.raises(ValueError, match="is not in the shop folder; there is: none yet"):
        shop_procedures(tmp_path)(name)
