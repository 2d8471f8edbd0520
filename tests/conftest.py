"""What all tests share: the published data beside the project, the browsers, and how hypothesis runs."""

import gc
import os
import tempfile
from collections.abc import AsyncIterator, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
import pytest_asyncio
from hypothesis import Phase, settings

# The tests' own processes fill the cores: numpy's threads beside them only wait for each other.
for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

# Each start of a process that serves pages would read the system's 150 certificates twice; no test trusts any of them.
os.environ.update(SSL_CERT_FILE=os.devnull, SSL_CERT_DIR=os.devnull)

# Runs by the thousand make millions of objects that soon go: a tenth of their time went into looking through them.
gc.set_threshold(100_000, 20, 10)

_MEMORY = Path("/dev/shm")

if TYPE_CHECKING:
    from playwright.async_api import Browser, Playwright

# A slow moment of a shared machine is no fault of the code, and a failure elsewhere must be repeatable here.
settings.register_profile("offing", deadline=None, print_blob=True)
# Whether a planted leak is found is all that is asked there, with the same examples, not which of them is the smallest.
settings.register_profile("planted", settings.get_profile("offing"), phases=(Phase.explicit, Phase.generate))
settings.load_profile(os.environ.get("OFFING_EXAMPLES", "offing"))


def pytest_collection_finish() -> None:
    """Leave out of that looking what is there for good: all modules and all tests."""
    gc.collect()
    gc.freeze()


@pytest.fixture(scope="module", autouse=True)
def _leaves_nothing_to_others() -> Iterator[None]:
    """Collect what the tests of a file left behind while it is known whose it was: what warns of it is an error.

    With so much set aside, a full collection else comes thousands of tests later, in whichever makes most objects.
    Only the values of fixtures of the last test, which are still held, come to the next file.
    """
    yield
    gc.collect()


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """Return the folder of published data beside the project; skip where it is absent, unless it is required."""
    folder = Path(__file__).resolve().parents[2] / "shared" / "data"
    if not folder.is_dir():
        reason = "the published test data is not beside the project"
        if os.environ.get("OFFING_REQUIRE_DATA") == "1":
            pytest.fail(reason)
        pytest.skip(reason)
    return folder


@pytest.fixture
def quick_folder(tmp_path: Path) -> Iterator[Path]:
    """Yield a folder in memory where there is one: for tests that ask nothing of a real sync."""
    if not _MEMORY.is_dir():
        yield tmp_path
        return
    with tempfile.TemporaryDirectory(dir=_MEMORY) as folder:
        yield Path(folder)


@pytest_asyncio.fixture(scope="session", loop_scope="session")
async def driver() -> "AsyncIterator[Playwright]":
    """What drives the browsers of a process."""
    from playwright.async_api import async_playwright  # a heavy import, for those alone that need it

    async with async_playwright() as playwright:
        yield playwright


@pytest_asyncio.fixture(scope="session", loop_scope="session")
async def browser(driver: "Playwright") -> "AsyncIterator[Browser]":
    """One browser for all tests of a process; each has a fresh context of its own."""
    from followers_page import chromium

    async with chromium(driver=driver) as program:
        yield program


@pytest_asyncio.fixture(scope="session", loop_scope="session")
async def drawing_browser(driver: "Playwright") -> "AsyncIterator[Browser]":
    """One that draws WebGL in software, which takes twice as long."""
    from followers_page import IN_SOFTWARE, chromium

    async with chromium(*IN_SOFTWARE, driver=driver) as program:
        yield program
