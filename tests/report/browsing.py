"""A headless browser for the tests of the page; skips with a reason where there is none."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest

from voltsec.report.output import FLAGS


def start_browser(profile: Path) -> Any:
    """A browser with an empty profile."""
    webdriver = pytest.importorskip(
        "selenium.webdriver", reason="selenium is not installed (extra `browser`)"
    )
    program, driver = shutil.which("chromium"), shutil.which("chromedriver")
    if program is None or driver is None:
        pytest.skip("chromium and chromium-driver are not installed")
    options = webdriver.ChromeOptions()
    options.binary_location = program
    for flag in (*FLAGS, f"--user-data-dir={profile}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    return webdriver.Chrome(options=options, service=webdriver.ChromeService(driver))


def resize(browser: Any, width: int, height: int) -> None:
    """The size a page sees, below the least window of the browser as well."""
    size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
