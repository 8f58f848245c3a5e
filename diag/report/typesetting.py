"""Makes a PDF of a template and its content, with nothing but what the typst package brings along.

The template is a `.typ` file in `templates`; the content reaches it as JSON, so no text is ever read as code. Fonts are
those inside typst, not the machine's, and no date is written: the same content gives the same bytes everywhere.
May import: `diag.basics`, and typst inside functions.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from diag.basics import DiagError, UsageError

__all__ = ["pdf_of"]

TEMPLATES = Path(__file__).parent / "templates"
LACKING = re.compile(r"the text `\"(.+?)\"` could not be displayed")
ACCESSIBLE: Final = "ua-1"  # PDF/UA-1, ISO 14289-1: tagged, with title, language and alternative texts


def pdf_of(template: str, content: object, pictures: Mapping[str, str] | None = None) -> bytes:
    """The PDF of `templates/<template>.typ`, tagged for screen readers; `pictures` are SVG texts by name.

    The template finds the content in `sys.inputs.content` as JSON, each picture in `sys.inputs.<name>`. A template
    panics with a sentence where the content does not fit. Raises UsageError where typst is not installed, DiagError
    with that sentence.
    """
    try:
        import typst
    except ImportError as error:
        raise UsageError("a PDF needs the package 'typst', which is not installed: pip install typst") from error
    inputs = {"content": json.dumps(content, ensure_ascii=False, allow_nan=False), **(pictures or {})}
    try:
        made = typst.compile(
            (TEMPLATES / f"{template}.typ").read_bytes(),
            sys_inputs=inputs,
            format="pdf",
            ignore_system_fonts=True,
            pdf_standards=ACCESSIBLE,
            timestamp=0,
        )
    except typst.TypstError as error:
        said = str(error).removeprefix("panicked with: ").strip('"')
        lacking = LACKING.search(said)
        if lacking is not None:
            sign = lacking.group(1)
            hint = "write another sign, or make the page as HTML and print that"
            raise DiagError(f"the letters of this PDF have no '{sign}'; {hint}") from error
        raise DiagError(f"this PDF could not be made: {said}") from error
    return made
