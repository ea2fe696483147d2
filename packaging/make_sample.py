"""Write assets/sample.outrib anew after a change of the sample: python packaging/make_sample.py"""

import sys
from pathlib import Path

REPO = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(REPO))

from geometry import sample  # noqa: E402
from geometry.files import job  # noqa: E402

job.save(sample.build(), REPO / "assets" / "sample.outrib")
