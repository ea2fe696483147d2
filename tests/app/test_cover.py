"""The cover's picture is drawn beside, and a packet goes out without it where it can't be."""

import struct
from typing import Any

import pytest

from app import cover
from geometry import sample
from geometry.errors import GeometryError
from geometry.progress import Cancelled, Progress, no_progress


def test_the_sample_is_drawn_as_a_png_of_the_cover_s_size() -> None:
    png = cover.picture(sample.build(), no_progress)
    assert png is not None
    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    assert struct.unpack(">II", png[16:24]) == cover.SIZE
    assert len(png) > 50_000  # an empty picture packs to next to nothing


def failing(error: Exception) -> Any:
    def in_child(*_: object) -> Any:
        def work(progress: Progress) -> Any:
            raise error

        return work

    return in_child


def test_where_drawing_ends_the_child_there_is_no_picture(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cover, "in_child", failing(GeometryError("The work ended by itself.")))
    assert cover.picture(sample.build(), no_progress) is None


def test_cancelling_is_no_failure_to_draw(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cover, "in_child", failing(Cancelled()))
    with pytest.raises(Cancelled):
        cover.picture(sample.build(), no_progress)
