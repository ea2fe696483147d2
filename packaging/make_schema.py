"""Write assets/layout.schema.json anew after a change of the layout types: python packaging/make_schema.py"""

import sys
from pathlib import Path

REPO = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(REPO))

from geometry.files import schema  # noqa: E402

(REPO / "assets" / "layout.schema.json").write_text(schema.text(), encoding="utf-8")
