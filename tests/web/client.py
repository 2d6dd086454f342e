"""The test client; it warns of a successor to httpx that the pins do not hold."""

from __future__ import annotations

import warnings

from fastapi import FastAPI

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from starlette.testclient import TestClient

__all__ = ["TestClient"]


OWN = {"origin": "http://127.0.0.1", "accept": "text/html"}


def own(app: FastAPI) -> TestClient:
    """A browser that reads pages of ours and sends their forms."""
    return TestClient(app, base_url="http://127.0.0.1", headers=OWN)
