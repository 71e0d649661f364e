"""`ampminder schema`: the JSON Schema of the line file, or of what is published, for editors and for programs."""

from __future__ import annotations

import json

from supervisor.config.model import LineDocument
from supervisor.edges.payloads import payload_schema

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def schema_text() -> str:
    """Return the schema as JSON text; the committed copy is this."""
    return json.dumps({"$schema": DIALECT, **LineDocument.model_json_schema()}, indent=2, ensure_ascii=False) + "\n"


def mqtt_schema_text() -> str:
    """Return the schema of all payloads published over MQTT as JSON text; the committed copy is this."""
    return json.dumps({"$schema": DIALECT, **payload_schema()}, indent=2, ensure_ascii=False) + "\n"


def schema(*, mqtt: bool = False) -> int:
    """Print the schema of the line file, or of the payloads. Returns the exit code, 0."""
    print(mqtt_schema_text() if mqtt else schema_text(), end="")
    return 0
