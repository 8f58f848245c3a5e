"""A picture as paper: one page of its own size, tagged, with the picture's title; by command, never over a file."""

from __future__ import annotations

from pathlib import Path

import pypdfium2
import pytest

from diag.report import picture_pdf
from tests.cli.process import run_in

SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="300" height="100" viewBox="0 0 300 100">'
    "<title>A line</title><desc>It goes up.</desc>"
    '<path d="M0 100 L300 0" stroke="#000"/><text x="10" y="50">words</text></svg>'
)


def test_a_picture_is_one_page_of_its_own_size_with_its_title() -> None:
    document = pypdfium2.PdfDocument(picture_pdf(SVG))
    assert len(document) == 1
    width, height = document[0].get_size()
    assert width > 2 * height > 0
    assert document.get_metadata_dict()["Title"] == "A line"
    assert "words" in document[0].get_textpage().get_text_range()


@pytest.mark.parametrize("wish", [(), ("--seal-life",)], ids=["engine", "seal life"])
def test_a_picture_by_command(tmp_path: Path, wish: tuple[str, ...]) -> None:
    made = run_in(tmp_path, "picture", "one_blown_seal", "picture.pdf", *wish)
    assert made.returncode == 0, made.stderr
    content = (tmp_path / "picture.pdf").read_bytes()
    assert len(pypdfium2.PdfDocument(content)) == 1
    again = run_in(tmp_path, "picture", "one_blown_seal", "picture.pdf", *wish)
    assert again.returncode == 2
    assert (tmp_path / "picture.pdf").read_bytes() == content
