"""Holds JSON files against a JSON Schema with the jsonschema library, not with ours.

    validate_books.py SCHEMA FILE...        one line for each file: "valid" or "invalid: where: why"
"""
import json
import pathlib
import sys

import jsonschema

schema = json.loads(pathlib.Path(sys.argv[1]).read_text(encoding="utf-8"))
jsonschema.Draft202012Validator.check_schema(schema)
validator = jsonschema.Draft202012Validator(schema)
for name in sys.argv[2:]:
    book = json.loads(pathlib.Path(name).read_text(encoding="utf-8"))
    error = jsonschema.exceptions.best_match(validator.iter_errors(book))
    print("valid" if error is None else f"invalid: {error.json_path}: {error.message[:200]}".replace("\n", " "))
