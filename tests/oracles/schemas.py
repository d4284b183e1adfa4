"""The JSON schemas of an answer, of a comparison, of advice and of the shelf, and what holds documents against them."""

import json
from importlib.resources import files
from typing import Any

import jsonschema


def _schema(name: str) -> dict[str, Any]:
    path = files("fitmatch") / "report" / "data" / f"{name}.schema.json"
    schema: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return schema


SCHEMA = _schema("assignment")
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)
COMPARED = _schema("compared")
OF_COMPARED = jsonschema.Draft202012Validator(COMPARED)
ADVISED = _schema("advised")
OF_ADVISED = jsonschema.Draft202012Validator(ADVISED)
SHELF = _schema("shelf")
