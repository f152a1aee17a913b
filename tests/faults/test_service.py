"""The computation service, asked anything by schemathesis, as its own description allows or not."""

import pytest
import schemathesis
from fastapi.testclient import TestClient
from hypothesis import given
from schemathesis.checks import not_a_server_error

from app.web.app import create_app
from app.web.settings import Settings
from tests.conftest import Clock
from tests.faults.asking import asking

pytestmark = pytest.mark.long

OPERATIONS = ("/api/analysis", "/api/comparison", "/api/plan", "/api/bore")


@pytest.fixture(scope="module")
def described(fresh_book, tmp_path_factory):
    import shutil

    book = tmp_path_factory.mktemp("service") / "book"
    shutil.copytree(fresh_book, book)
    app = create_app(Settings(book=book, now=Clock()))
    # The program shows its description nowhere; here it is given to the tester.
    app.add_api_route("/description.json", app.openapi, include_in_schema=False)
    with TestClient(app):
        schema = schemathesis.openapi.from_asgi("/description.json", app)
        yield schema.include(path_regex="^/api/")


def check_answer(case) -> int:
    """Ask one thing; a value or words must come back."""
    answer = case.call()
    case.validate_response(answer, checks=[not_a_server_error])
    assert answer.status_code in {200, 400, 422}
    if answer.status_code == 422:
        assert all(one["field"] is not None and one["words"] for one in answer.json()["detail"])
    assert "Traceback" not in answer.text
    return answer.status_code


def test_every_operation_of_the_service_answers_anything_with_a_value_or_with_words(described):
    found = {one.ok().path: one.ok() for one in described.get_all_operations()}
    assert set(OPERATIONS) <= set(found)
    for path, operation in found.items():
        codes = set()

        @asking(60)
        @given(case=operation.as_strategy())
        def ask(case):
            codes.add(check_answer(case))  # noqa: B023 - run at once

        ask()
        assert codes, path
