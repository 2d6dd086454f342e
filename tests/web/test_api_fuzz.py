"""The interface against its own description: odd requests get an answer, never a fault of ours."""

from __future__ import annotations

import warnings
from contextlib import ExitStack, suppress
from datetime import date
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.errors import Unsatisfiable
from tests.record.postgres import lacking, throw_away

from tackfree.service import job as jobs
from tackfree.service.record import DATABASE
from tackfree.web.app import create_app

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import schemathesis
    from schemathesis.checks import not_a_server_error
    from schemathesis.generation import GenerationMode
    from schemathesis.specs.openapi.checks import (
        content_type_conformance,
        response_schema_conformance,
        status_code_conformance,
    )

pytestmark = [
    pytest.mark.slow,
    pytest.mark.filterwarnings("ignore"),
]
CHECKS = [
    not_a_server_error, status_code_conformance, content_type_conformance,
    response_schema_conformance,
]  # fmt: skip


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """A few examples on the one engine; with --trials many, on both."""
    both = metafunc.config.getoption("--trials")
    engines = ("sqlite", "postgresql") if both else ("sqlite",)
    metafunc.parametrize("described", engines, indirect=True, scope="module")


@pytest.fixture(scope="module")
def described(tmp_path_factory: pytest.TempPathFactory, request: pytest.FixtureRequest) -> Any:
    """The description that an app over an empty record gives of itself."""
    with ExitStack() as stack:
        patch = stack.enter_context(pytest.MonkeyPatch.context())
        patch.delenv(DATABASE, raising=False)
        folder = tmp_path_factory.mktemp("fuzz")
        if request.param == "postgresql":
            if why := lacking():
                pytest.skip(why)
            server = stack.enter_context(throw_away())
            patch.setenv(DATABASE, f"postgresql://tackfree@/postgres?host={server}")
        jobs.new(folder / "job")
        app = create_app(folder, folder / "job", hosts=("*",), today=lambda zone: date(2027, 4, 22))
        stack.callback(app.state.site.desk.close)
        yield schemathesis.openapi.from_asgi("/api/openapi.json", app)


@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE])
def test_no_request_makes_a_fault_of_ours(
    described: Any, mode: Any, request: pytest.FixtureRequest
) -> None:
    tried = 0
    examples = 400 if request.config.getoption("--trials") else 12
    for found in described.get_all_operations():
        operation = found.ok()

        @settings(
            max_examples=examples, deadline=None, derandomize=True, database=None,
            phases=(Phase.explicit, Phase.generate), suppress_health_check=list(HealthCheck),
        )  # fmt: skip
        @given(case=operation.as_strategy(generation_mode=mode))
        def answered(case: Any) -> None:
            nonlocal tried
            tried += 1
            case.call_and_validate(headers={"Authorization": "Device of nobody"}, checks=CHECKS)

        with suppress(Unsatisfiable):  # nothing of it can be asked for wrongly
            answered()
    print(f"{tried} requests")
    assert tried >= 40
