"""A wallclime.toml that is read, for every test of its tables."""

import pytest

from monitor.basis.errors import SettingsError
from monitor.config.settings import load_settings


@pytest.fixture
def load(tmp_path):
    """A function that reads a wallclime.toml of this text."""

    def load_text(text, environ=None):
        (tmp_path / "wallclime.toml").write_bytes(text if isinstance(text, bytes) else text.encode())
        return load_settings(tmp_path, environ or {})

    return load_text


@pytest.fixture
def faults_of(tmp_path, load):
    """A function that gives the faults of a wallclime.toml without the file's name."""

    def faults(text, environ=None):
        with pytest.raises(SettingsError) as caught:
            load(text, environ)
        return [line.removeprefix(f"{tmp_path / 'wallclime.toml'}: ") for line in str(caught.value).splitlines()]

    return faults
