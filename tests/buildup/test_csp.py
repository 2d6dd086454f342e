"""The profile classes the rules warn by, against the published classes."""

from __future__ import annotations

import pytest

from tackfree.buildup.case import Defaults


@pytest.mark.outside
def test_profile_classes_under_a_membrane(check) -> None:
    c = check("film-csp-thickness")
    at = c["inputs"]["class"].index("high build 10-40 mil")
    low, high = Defaults().csp
    assert low == pytest.approx(c["expected"]["csp_min"][at], abs=c["tolerance"]["abs"])
    assert high == pytest.approx(c["expected"]["csp_max"][at], abs=c["tolerance"]["abs"])
