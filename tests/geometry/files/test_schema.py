"""The schema in assets is the one the code gives, and what is saved keeps to it."""

import re
from pathlib import Path

from geometry.files import schema

ASSET = Path(__file__).resolve().parents[3] / "assets" / "layout.schema.json"


def test_the_asset_agrees_with_the_code() -> None:
    assert ASSET.read_text(encoding="utf-8") == schema.text(), "run packaging/make_schema.py"


def test_every_type_that_is_named_is_described() -> None:
    made = schema.schema()
    named = set(re.findall(r"#/\$defs/(\w+)", schema.text()))
    assert named <= made["$defs"].keys()
    assert {"Layout", "Node", "Tube", "Panel", "Mesh"} <= named


def test_arrays_are_named_by_their_sha_256() -> None:
    mesh = schema.schema()["$defs"]["Mesh"]
    assert mesh["properties"]["vertices"]["pattern"] == "^[0-9a-f]{64}$"
