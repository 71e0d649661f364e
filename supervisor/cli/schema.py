"""`ampminder schema`: the JSON Schema of the line file, for editors and for whoever writes one."""

from __future__ import annotations

import json

from supervisor.config.model import LineDocument

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def schema_text() -> str:
    """Return the schema as JSON text; the committed copy is this."""
    return json.dumps({"$schema": DIALECT, **LineDocument.model_json_schema()}, indent=2, ensure_ascii=False) + "\n"


def schema() -> int:
    """Print the schema. Returns the exit code, 0."""
    print(schema_text(), end="")
    return 0
