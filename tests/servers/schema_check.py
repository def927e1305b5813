"""Holds JSON documents, one a line of the input, against a JSON Schema (2020-12); prints the faults of each as JSON.

Needs jsonschema from the Python package index.
"""

import json
import sys

from jsonschema import Draft202012Validator, FormatChecker

with open(sys.argv[1], encoding="utf-8") as file:
    schema = json.load(file)
Draft202012Validator.check_schema(schema)
validator = Draft202012Validator(schema, format_checker=FormatChecker())
found = [[error.message for error in validator.iter_errors(json.loads(line))] for line in sys.stdin]
print(json.dumps(found))
