"""Settings from the environment."""

from pathlib import Path

import pytest

from api.settings import Settings, SettingsError


def test_defaults_lie_in_the_shop_folder():
    settings = Settings.from_environ({"DIPSTEP_HOME": "/srv/shop", "PATH": "/bin"})

    assert settings.home == Path("/srv/shop")
    assert settings.database_url == "sqlite:////srv/shop/dipstep.db"
    assert settings.max_upload_bytes == 30 * 1024 * 1024


def test_a_misspelt_name_is_heard():
    with pytest.raises(
        SettingsError, match="DIPSTEP_HOEM: no such setting; there are DIPSTEP_HOME"
    ):
        Settings.from_environ({"DIPSTEP_HOEM": "/srv/shop"})


@pytest.mark.parametrize("text", ["many", "0", "-3", "nan", "5000"])
def test_a_wrong_number_is_heard(text):
    with pytest.raises(SettingsError, match=r"DIPSTEP_MAX_UPLOAD_MIB: .* is no number from 1 to"):
        Settings.from_environ({"DIPSTEP_MAX_UPLOAD_MIB": text})
