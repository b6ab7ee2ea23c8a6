"""What a header says of a picture, as one number of an attribute that may hold several."""

from __future__ import annotations

from dataclasses import replace

import make_dicom as make
import numpy as np
import pytest

from core.scan.header import read_header
from core.scan.sources import opened


@pytest.mark.parametrize(
    ("written", "read"), [("0.3\\0.4", 0.3), ("0.3", 0.3), ("", None), ("thick\\0.4", None)]
)
def test_the_first_of_several_numbers_is_taken(tmp_path, written, read):
    path = make.write(
        make.dataset(np.zeros((20, 24), np.int16), k=0, position=(0, 0, 0)), tmp_path / "a"
    )
    with opened(path) as export:
        header = read_header(export, export.sources[0])
    told = replace(header, text={**header.text, "SliceThickness": written})
    assert told.number("SliceThickness") == read
