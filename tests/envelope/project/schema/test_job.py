"""The JSON Schema for editors, and that it says what the reader accepts."""

import json
from typing import Any

import pytest

from envelope.project import json_schema
from envelope.project.schema.job import LISTS, SINGLES


@pytest.fixture(scope="module")
def schema() -> dict[str, Any]:
    return json_schema()


def test_it_is_json_and_closed(schema: dict[str, Any]) -> None:
    json.dumps(schema)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    for table in [schema, *schema["$defs"].values()]:
        assert table["additionalProperties"] is False
        assert set(table.get("required", ())) <= set(table["properties"])


def test_its_tables_are_those_that_are_read(schema: dict[str, Any]) -> None:
    assert set(schema["properties"]) == {"format", "name", *SINGLES, *LISTS}
    assert schema["required"] == ["format", "name"]


def test_keys_have_hyphens_and_nothing_is_null(schema: dict[str, Any]) -> None:
    text = json.dumps(schema)
    assert '"sheet-resistance"' in text
    assert "sheet_resistance" not in text
    assert '"from"' in text
    assert '"with"' in text
    assert '"null"' not in text


def test_a_field(schema: dict[str, Any]) -> None:
    height = schema["$defs"]["Space"]["properties"]["height"]
    assert height["type"] == "string"
    assert height["examples"] == ["2.4 m"]
    assert "above 0 m" in height["description"]
    assert schema["$defs"]["Space"]["required"] == ["id", "storey", "height"]
    kinds = schema["$defs"]["Treatment"]["properties"]["kind"]["enum"]
    assert kinds == ["sheet", "mesh", "table", "layers", "honeycomb", "fixed"]
