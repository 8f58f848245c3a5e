"""The customer's page as one HTML file with nothing outside it; printed, it is one side of A4 like the PDF.

Sizes are in rem, so that a reader's own size holds; widths below 46 rem put the parts one below the other.
May import: pictures, and map, record of this folder.
"""

from __future__ import annotations

from html import escape

from diag.pictures import ACCENT, FONTS, INK, LINE, MUTED, PAPER, TINT, X_HEIGHT
from diag.report.customer.map import map_of
from diag.report.customer.record import CustomerPage, Section
from diag.report.figures import direction

__all__ = ["page_html"]

LONG = 2700  # letters; held by tests in a browser
BESIDE, IN_A_FRAME = 200, 150  # letters for which a cylinder in the picture, and a frame, take the room

STYLE = f"""
:root {{ color: {INK}; background: {PAPER}; font: 100%/1.4 {FONTS};
  font-size-adjust: {X_HEIGHT}; color-scheme: light; }}
body {{ max-width: 56rem; margin: 0 auto; padding: 1.2rem; overflow-wrap: anywhere; }}
h1 {{ color: {ACCENT}; font-size: 1.8rem; margin: 0; border-bottom: 2px solid {ACCENT}; line-height: 1.25; }}
h2 {{ color: {ACCENT}; font-size: 1.15rem; margin: 1rem 0 0.3rem; line-height: 1.25; }}
p {{ margin: 0 0 0.4rem; }}
.about {{ display: flex; flex-wrap: wrap; gap: 0 2rem; justify-content: space-between; margin-top: 0.4rem; }}
.small {{ color: {MUTED}; font-size: 0.875rem; }}
.safety {{ border: 3px solid {INK}; padding: 0.2rem 0.9rem 0.5rem; margin: 0.7rem 0; }}
.safety h2 {{ margin-top: 0.4rem; }}
.side {{ display: grid; grid-template-columns: 1fr; gap: 0 2rem; }}
.side svg {{ width: 100%; height: auto; max-width: 28rem; }}
.phone {{ display: none; }}
@media screen and (max-width: 46rem) {{ .phone {{ display: block; }} }}
.scroll {{ overflow-x: auto; }}
table {{ border-collapse: collapse; width: 100%; overflow-wrap: normal; }}
th, td {{ text-align: start; vertical-align: top; padding: 0.3rem 0.5rem; border-bottom: 1px solid {LINE}; }}
thead th, thead td {{ border-bottom: 2px solid {INK}; }}
tbody th {{ font-weight: normal; color: {MUTED}; }}
.advised {{ background: {TINT}; }}
.box {{ display: inline-block; width: 0.9em; height: 0.9em; border: 1.5px solid {INK}; margin-right: 0.4em; }}
.sign {{ display: flex; flex-wrap: wrap; gap: 1.5rem; margin: 2.6rem 0 0.6rem; }}
.sign span {{ flex: 1 1 10rem; border-top: 1px solid {INK}; }}
@media (min-width: 46rem) {{
  .side {{ grid-template-columns: 1fr 1fr; }}
  .map {{ grid-template-columns: 1fr var(--map); }}
}}
@media print {{
  @page {{ size: A4; margin: 10mm 13mm; }}
  :root {{ font-size: var(--print); line-height: 1.25; }}
  body {{ max-width: none; padding: 0; }}
  .side {{ grid-template-columns: 1fr 1fr; }}
  .map {{ grid-template-columns: 1fr var(--map); }}
  h2 {{ margin-top: 0.6rem; }}
  .sign {{ margin-top: 2rem; }}
  .small {{ font-size: 0.95rem; }}
  .scroll {{ overflow: visible; }}
  .advised {{ print-color-adjust: exact; }}
}}
"""


def page_html(page: CustomerPage) -> str:
    """The page as a whole HTML document."""
    small = f'<p class="small">{escape(page.invented)}</p>' if page.invented else ""
    safety = f'<section class="safety" role="note">{_inside(page.safety)}</section>' if page.safety.lines else ""
    parts = [
        f"<header><h1>{escape(page.title)}</h1>",
        f'<p class="about"><strong>{escape(page.case)}</strong> <span>{escape(page.vehicle)}</span></p>',
        f"{small}</header>",
        f"<main>{safety}",
        f'<div class="side map" style="--map: {_map_rem(page):g}rem"><div>'
        f"{_section(page.wrong)}{_section(page.nothing)}</div>",
        f"<section><h2>{escape(page.map_title)}</h2>{map_of(page)}",
        f'{_in_words(page)}<p class="small">{escape(page.map_caption)}</p></section></div>',
        f"<section><h2>{escape(page.options_heading)}</h2>{_table(page)}</section>",
        f'<div class="side"><div>{_section(page.advice)}</div>',
        f"<div>{_section(page.unknown)}{_section(page.terms)}</div></div>",
        f'<p><span class="box"></span>{escape(page.choose_none)}</p>',
        f'<div class="sign">{"".join(_signed(page))}</div>',
        f'</main><footer><p class="small">{escape(page.footer)}</p></footer>',
    ]
    size = f":root {{ --print: {_print_points(page):g}pt; }}\n"
    head = (
        f'<!doctype html>\n<html lang="{escape(page.language)}" dir="{direction(page.language)}">\n'
        '<head><meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(page.title)}: {escape(page.case)}</title>\n<style>{STYLE}{size}</style></head>\n"
    )
    return head + "<body>\n" + "\n".join(parts) + "\n</body>\n</html>\n"


def _in_words(page: CustomerPage) -> str:
    """What the picture of two banks says, for a telephone, where its letters are small; read out it is there."""
    if len(page.banks) == 1:
        return ""
    return f'<p class="phone" aria-hidden="true">{escape(page.map_description)}</p>'


def _map_rem(page: CustomerPage) -> float:
    """Width of the picture: one column is narrower than two."""
    return 16.0 if len(page.banks) == 1 else 28.0


def _print_points(page: CustomerPage) -> float:
    """Size of the letters in print: a browser cannot choose what just fits one side, so long pages get smaller ones."""
    sections = (page.safety, page.wrong, page.nothing, page.advice, page.unknown, page.terms)
    lines = [line for section in sections for line in section.lines]
    lines += [line for row in page.rows for cell in row.cells for line in cell]
    letters = sum(map(len, lines)) + len(page.case) + (IN_A_FRAME if page.safety.lines else 0)
    if len(page.banks) == 1:  # a high picture leaves room empty beside it
        beside = sum(map(len, (*page.wrong.lines, *page.nothing.lines)))
        letters += max(0, BESIDE * len(page.banks[0].cylinders) - beside)
    return 8.5 if letters < LONG else 8.0


def _inside(section: Section) -> str:
    lines = "".join(f"<p>{escape(line)}</p>" for line in section.lines)
    return f"<h2>{escape(section.heading)}</h2>{lines}"


def _section(section: Section) -> str:
    return f"<section>{_inside(section)}</section>" if section.lines else ""


def _table(page: CustomerPage) -> str:
    marks = [' class="advised"' if option.advised else "" for option in page.options]
    heads = "".join(
        f'<th scope="col"{mark}>{escape(option.heading)}{" – " + escape(page.advised) if option.advised else ""}</th>'
        for option, mark in zip(page.options, marks, strict=True)
    )
    rows = [
        f'<tr><th scope="row">{escape(row.label)}</th>'
        + "".join(f"<td{mark}>{_lines(cell)}</td>" for cell, mark in zip(row.cells, marks, strict=True))
        + "</tr>"
        for row in page.rows
    ]
    boxes = "".join(f'<td{mark}><span class="box"></span>{escape(page.choose)}</td>' for mark in marks)
    rows.append(f'<tr><th scope="row">{escape(page.choice_label)}</th>{boxes}</tr>')
    label = escape(page.options_heading)
    return (
        f'<div class="scroll" tabindex="0" role="region" aria-label="{label}"><table>'
        f"<thead><tr><td></td>{heads}</tr></thead><tbody>{''.join(rows)}</tbody></table></div>"
    )


def _lines(cell: tuple[str, ...]) -> str:
    return "<br>".join(map(escape, cell))


def _signed(page: CustomerPage) -> list[str]:
    labels = (page.sign_date, page.sign_name, page.sign_phone)
    return [f'<span class="small">{escape(label)}</span>' for label in labels]
