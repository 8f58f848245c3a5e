"""The page of a trainee to be printed: the debriefs of their cases one after the other, as HTML and as PDF.

Both are made from the same blocks as the page at the terminal. May import: training, knowledge_base, blocks, html
style, sheets, words, `typesetting`, and the modules of this room about practice.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

from diag.knowledge_base import Knowledge
from diag.report.blocks import Block, Cautions, Heading, Items, Picture, Sentence, Table
from diag.report.from_debrief import case_lines, class_line, debrief_sheet
from diag.report.html_worksheet import STYLE
from diag.report.sheets_training import DebriefSheet
from diag.report.text_debrief import debrief_blocks, progress_blocks
from diag.report.typesetting import pdf_of
from diag.report.words_training import PRACTICE_CLASS

if TYPE_CHECKING:
    from diag.training import Classroom

__all__ = ["TraineePaper", "trainee_html", "trainee_pages", "trainee_papers", "trainee_pdf"]

Content = dict[str, object]


@dataclass(frozen=True)
class TraineePaper:
    """What is printed for one trainee: `file`, the name of its file without ending; how they got on (`before`), then
    the debriefs of the cases that they ended."""

    trainee: str
    file: str
    before: tuple[Block, ...]
    cases: tuple[DebriefSheet, ...]


def trainee_papers(knowledge: Knowledge, found: Classroom, draws: int) -> tuple[TraineePaper, ...]:
    """A paper for each trainee who ended a case."""
    sheets: dict[str, list[DebriefSheet]] = {}
    for each in found.sittings:
        if each.review is not None:
            trainee = each.journal.trainee
            sheet = debrief_sheet(knowledge, each.journal.seat, each.review, trainee, draws)
            sheets.setdefault(trainee, []).append(sheet)
    papers = []
    for number, (trainee, some) in enumerate(sheets.items(), start=1):
        summary = progress_blocks(class_line(found, trainee), case_lines(found, trainee), found.currency)
        plain = re.sub(r"[^A-Za-z0-9]+", "-", trainee).strip("-").lower()
        papers.append(TraineePaper(trainee, f"{number:02d}-{plain or 'trainee'}", tuple(summary), tuple(some)))
    return tuple(papers)


def trainee_pages(knowledge: Knowledge, found: Classroom, draws: int) -> dict[str, str]:
    """The same as HTML, by the name of its file."""
    papers = trainee_papers(knowledge, found, draws)
    return {f"{each.file}.html": trainee_html(each.trainee, each.cases, each.before) for each in papers}


def trainee_html(trainee: str, sheets: Sequence[DebriefSheet], before: Sequence[Block] = ()) -> str:
    """The page as HTML: nothing fetched from outside, black on white. `before`: what stands ahead of the cases."""
    title = PRACTICE_CLASS["page_title"].format(trainee=trainee or PRACTICE_CLASS["trainee"])
    blocks = [*before, *(block for sheet in sheets for block in debrief_blocks(sheet))]
    body = "\n".join(_html(block) for block in blocks)
    return (
        f'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>{escape(title)}</title>\n'
        f"<style>{STYLE}</style>\n</head>\n<body>\n{body}\n</body>\n</html>\n"
    )


def _html(block: Block) -> str:
    match block:
        case Heading(text, level):
            return f"<h{level}>{escape(text)}</h{level}>"
        case Sentence(text, strong):
            return f"<p>{'<strong>' if strong else ''}{escape(text)}{'</strong>' if strong else ''}</p>"
        case Cautions(texts):
            return "\n".join(f'<p class="caution">{escape(text)}</p>' for text in texts)
        case Items(label, items, numbered):
            kind = "ol" if numbered else "ul"
            inside = "".join(f"<li>{escape(item)}</li>" for item in items)
            head = f'<p class="what">{escape(label)}</p>' if label else ""
            return f'<div class="step">{head}<{kind}>{inside}</{kind}></div>'
        case Table(columns, rows):
            head = "".join(f'<th scope="col">{escape(column.heading)}</th>' for column in columns)
            return f"<table><thead><tr>{head}</tr></thead><tbody>{''.join(map(_row, rows))}</tbody></table>"
        case Picture():
            return ""


def _row(row: Iterable[str]) -> str:
    return f"<tr>{''.join(f'<td>{escape(cell)}</td>' for cell in row)}</tr>"


def trainee_pdf(trainee: str, sheets: Sequence[DebriefSheet], before: Sequence[Block] = ()) -> bytes:
    """The page as PDF, A4; `before`: what stands ahead of the cases. Raises UsageError without typst."""
    title = PRACTICE_CLASS["page_title"].format(trainee=trainee or PRACTICE_CLASS["trainee"])
    parts = [_part(block) for block in (*before, *(block for sheet in sheets for block in debrief_blocks(sheet)))]
    return pdf_of("practice", {"title": title, "parts": [part for part in parts if part]})


def _part(block: Block) -> Content:
    match block:
        case Heading(text, level):
            return {"is": "heading", "text": text, "level": level}
        case Sentence(text, strong):
            return {"is": "text", "text": text, "strong": strong}
        case Cautions(texts):
            return {"is": "items", "label": "", "items": list(texts)}
        case Items(label, items):
            return {"is": "items", "label": label, "items": list(items)}
        case Table(columns, rows):
            return {"is": "table", "head": [column.heading for column in columns], "rows": [list(row) for row in rows]}
        case Picture():
            return {}
