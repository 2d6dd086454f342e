"""What every page must hold in a browser: it complains of nothing and fits a gloved phone."""

from __future__ import annotations

from typing import Any

from tests.web.test_browser import SMALL_TARGETS, SMALL_TYPE


def listened(page: Any) -> list[str]:
    """Every message and fault of a page from now on."""
    faults: list[str] = []
    page.on("console", lambda m: faults.append(m.text) if m.type in ("error", "warning") else 0)
    page.on("pageerror", lambda e: faults.append(str(e)))
    return faults


def assert_fits_a_phone(page: Any) -> None:
    """No sideways scroll at 360 px, type of 16 px and more, targets of 48 px."""
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert page.evaluate(SMALL_TYPE) == []
    assert page.evaluate(SMALL_TARGETS) == []
