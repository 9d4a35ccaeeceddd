"""What the tests of site files share: the good cellar, and ways to break it."""

import shutil
from pathlib import Path

import pytest

from gaswitness_sitefile.errors import SiteFileError
from gaswitness_sitefile.load import load_site

GOOD = Path(__file__).parent / "good"


@pytest.fixture
def good() -> Path:
    return GOOD


@pytest.fixture(scope="session")
def cellar_text() -> str:
    return (GOOD / "cellar.yaml").read_text(encoding="utf-8")


@pytest.fixture
def cellar_folder(tmp_path) -> Path:
    """A copy of the good cellar, to be broken."""
    return Path(shutil.copytree(GOOD, tmp_path / "cellar"))


@pytest.fixture
def broken(tmp_path):
    """Load a text that is not good; its problems as (line, text) pairs."""

    def load(text, name="site.yaml"):
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        with pytest.raises(SiteFileError) as caught:
            load_site(path)
        return caught.value.problems

    return load


@pytest.fixture
def loaded(tmp_path):
    """Load a text that is good enough."""

    def load(text):
        path = tmp_path / "site.yaml"
        path.write_text(text, encoding="utf-8")
        return load_site(path)

    return load


@pytest.fixture
def changed(cellar_text):
    """The good cellar's text with parts replaced, each of which must be there once."""

    def change(*pairs):
        text = cellar_text
        for old, new in pairs:
            assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times"
            text = text.replace(old, new)
        return text

    return change
