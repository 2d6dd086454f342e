"""The test client; it warns of a successor to httpx that the pins do not hold."""

from __future__ import annotations

import warnings

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from starlette.testclient import TestClient

__all__ = ["TestClient"]
