"""What windows say about errors."""

from __future__ import annotations

from app.widgets.messages import FAULT, error_text
from core.errors import ScanError


def test_a_refusal_says_its_sentence_and_too_little_memory_is_one():
    assert error_text(ScanError("scan_cancelled"))[0].startswith("Reading was stopped")
    said, details = error_text(MemoryError())
    assert "too little free memory" in said
    assert "memory-short" in details


def test_a_fault_tells_places_of_the_program_and_no_values():
    try:
        raise KeyError("QUARRY^Sample")  # noqa: TRY301
    except KeyError as error:
        said, details = error_text(error)
    assert said == str(FAULT)
    assert "test_messages.py" in details
    assert "QUARRY" not in details
