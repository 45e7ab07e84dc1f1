"""Programs that pip does not install, each asked for in one way by the tests that need it.

Where one is missing its tests are left out with the reason and what to install; with
RINGLAND_REQUIRE_TOOLS=1, as in CI, they fail instead.
"""

import os
import shutil
from typing import NoReturn

import pytest

IS_REQUIRED = os.environ.get("RINGLAND_REQUIRE_TOOLS") == "1"

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
ARGUMENTS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
"""How Chromium is started: no window, and nothing asked of a network."""


def needs(found: str | None, package: str) -> pytest.MarkDecorator:
    """Leaves the test out where nothing was found; where it is required, the test meets that."""
    return pytest.mark.skipif(
        found is None and not IS_REQUIRED,
        reason=f"not installed: apt-get install {package}",
    )


def missing(how_to: str) -> NoReturn:
    """Ends the running test: what it needs is not here, and this is how to get it."""
    if IS_REQUIRED:
        pytest.fail(how_to)
    pytest.skip(how_to)


def program(name: str, package: str) -> str:
    """The path of a program; ends the running test where it is missing."""
    return shutil.which(name) or missing(f"{name} is not installed: apt-get install {package}")


needs_chromium = [pytest.mark.browser, needs(CHROMIUM, "chromium")]
needs_npm = needs(shutil.which("npm"), "npm")
