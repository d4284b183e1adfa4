"""The JSON schema of an answer, and what holds a document against it."""

import json
from importlib.resources import files
from typing import Any

import jsonschema

SCHEMA: dict[str, Any] = json.loads(
    (files("fitmatch") / "report" / "data" / "assignment.schema.json").read_text(encoding="utf-8")
)
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)
