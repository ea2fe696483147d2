"""Opening and saving: what the File menu does."""

import pytest

from app.job_files import file_name


@pytest.mark.parametrize(
    ("name", "file"),
    [
        ("Sample: two-door 4x4", "Sample- two-door 4x4"),
        ("rear 1/2", "rear 1-2"),
        ("..", "Untitled"),
        ("Käfig 3", "Käfig 3"),
    ],
)
def test_any_name_of_a_job_makes_a_file_name(name: str, file: str) -> None:
    assert file_name(name) == file
