"""The JSON Schema of layout.json, made from the types that read it."""

import inspect
from typing import Any

import msgspec

from geometry.files.job import Document

ARRAY = {
    "type": "string",
    "pattern": "^[0-9a-f]{64}$",
    "description": "SHA-256 of the .npy file in meshes/ that holds this array.",
}


def schema() -> dict[str, Any]:
    """Return the schema of layout.json as plain data."""
    made = msgspec.json.schema(Document, schema_hook=lambda _kind: dict(ARRAY))
    for described in made["$defs"].values():
        described["description"] = inspect.cleandoc(described.get("description", ""))
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "Outrib job", **made}


def text() -> str:
    """Return the schema as assets/layout.schema.json holds it."""
    return msgspec.json.format(msgspec.json.encode(schema()), indent=1).decode() + "\n"
