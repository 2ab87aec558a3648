"""Pieces of self-contained pages: text made safe, tables, inline vector figures, one style sheet.

Nothing on a page comes from a network: styles and figures stand in the file itself.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterable, Sequence
from html import escape

from matplotlib.figure import Figure

from blownwing.report import style

STYLE = """
:root { --ink: #1d2730; --soft: #5b6975; --line: #d5dbe0; --wash: #f3f5f2; --mark: #8a5a00; }
* { box-sizing: border-box; }
body { margin: 0; color: var(--ink); background: #fff; line-height: 1.5;
  font-family: "DejaVu Sans", Verdana, sans-serif; font-size: 15px; }
main { max-width: 1040px; margin: 0 auto; padding: 28px 24px 48px; }
h1 { font-family: Georgia, "DejaVu Serif", serif; font-weight: 600; font-size: 1.9em;
  line-height: 1.2; margin: 0 0 .2em; overflow-wrap: anywhere; }
h2 { font-family: Georgia, "DejaVu Serif", serif; font-weight: 600; font-size: 1.3em;
  margin: 2em 0 .5em; padding-top: .4em; border-top: 3px double var(--line); }
p, li { max-width: 76ch; }
.lead { color: var(--soft); margin-top: 0; }
.caution { border: 1px solid var(--mark); border-left-width: 6px; padding: .6em .9em;
  background: #fffaf0; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; width: 100%; font-size: .9em;
  font-variant-numeric: tabular-nums; }
caption { text-align: left; color: var(--soft); padding: .3em 0; }
th { text-align: left; border-bottom: 2px solid var(--ink); vertical-align: bottom; }
th, td { padding: .32em .7em .32em 0; }
td { border-bottom: 1px solid var(--line); vertical-align: top; }
td.n, th.n { text-align: right; white-space: nowrap; }
tr.miss td { background: #fff0e6; }
figure { margin: 1.2em 0 1.8em; }
figure svg { display: block; width: 100%; height: auto; max-height: 160mm; }
figcaption { color: var(--soft); font-size: .92em; max-width: 84ch; }
pre { background: var(--wash); padding: .9em; white-space: pre-wrap; overflow-wrap: anywhere;
  font-size: .82em; line-height: 1.35; }
@media print {
  @page { margin: 15mm 14mm; }
  body { font-size: 9.5pt; }
  main { max-width: none; padding: 0; }
  .wide { overflow: visible; }
  h2 { break-after: avoid; }
  figure, tr, .caution { break-inside: avoid; }
  thead { display: table-header-group; }
  h2 + .wide, caption, thead { break-before: avoid; break-after: avoid; }
  tbody tr:nth-child(-n+3) { break-before: avoid; }
  table { font-size: 8pt; }
  th, td { padding: .2em .5em .2em 0; overflow-wrap: break-word; }
  td.n, th.n { white-space: normal; overflow-wrap: normal; }
  figure svg { max-height: 105mm; }
}
"""

_NAME = re.compile(r'\bid="([^"]+)"')
_USE = re.compile(r'(url\(#|href="#)([^)"]+)')


def page(title: str, body: Iterable[str]) -> str:
    """Return a whole page; ``body`` is markup that is safe already, the title is plain text."""
    # The icon is an empty one, or a browser would ask a server for it.
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<link rel="icon" href="data:,">\n'
        f"<title>{escape(title)}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n<main>\n"
        + "\n".join(body)
        + "\n</main>\n</body>\n</html>\n"
    )


def heading(text: str) -> str:
    """Return a section's heading."""
    return f"<h2>{escape(text)}</h2>"


def paragraph(text: str, kind: str = "") -> str:
    """Return a paragraph; ``kind`` is empty, lead or caution."""
    mark = f' class="{kind}"' if kind else ""
    return f"<p{mark}>{escape(text)}</p>"


def bullets(texts: Iterable[str]) -> str:
    """Return a list of sentences."""
    return "<ul>" + "".join(f"<li>{escape(text)}</li>" for text in texts) + "</ul>"


def text_block(text: str) -> str:
    """Return text whose lines are kept as they are."""
    return f"<pre>{escape(text)}</pre>"


def table(
    head: Sequence[str],
    rows: Iterable[Sequence[str]],
    numbers: Iterable[int] = (),
    caption: str = "",
    marked: Iterable[int] = (),
) -> str:
    """Return a table of plain texts.

    Args:
        head: names of the columns.
        rows: texts, one per column.
        numbers: indices of columns set flush right.
        caption: what the table shows.
        marked: indices of rows to make stand out.
    """
    right, stand_out = set(numbers), set(marked)

    def cells(tag: str, texts: Sequence[str]) -> str:
        return "".join(
            f"<{tag}{' class=' + chr(34) + 'n' + chr(34) if k in right else ''}>{escape(t)}</{tag}>"
            for k, t in enumerate(texts)
        )

    lines = [f"<tr>{cells('th', head)}</tr>"]
    body = [
        f"<tr{' class=' + chr(34) + 'miss' + chr(34) if k in stand_out else ''}>"
        f"{cells('td', row)}</tr>"
        for k, row in enumerate(rows)
    ]
    title = f"<caption>{escape(caption)}</caption>" if caption else ""
    return (
        f'<div class="wide"><table>{title}<thead>{lines[0]}</thead>'
        f"<tbody>{''.join(body)}</tbody></table></div>"
    )


def vector_figure(figure: Figure, caption: str, name: str) -> str:
    """Return a figure as markup that stands in the page.

    ``name`` keeps the figure's identifiers apart from those of others on the same page.
    """
    stream = io.StringIO()
    style.mark_cuts(figure)
    figure.savefig(stream, format="svg", metadata={"Date": None, "Creator": None})
    return svg_text(stream.getvalue(), caption, name)


def svg_text(text: str, caption: str, name: str) -> str:
    """Return a vector figure's text, as a file holds it, as markup that stands in the page."""
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = _NAME.sub(rf'id="{name}-\1"', text)
    text = _USE.sub(rf"\1{name}-\2", text)
    text = text.replace("<svg ", f'<svg role="img" aria-label="{escape(caption)}" ', 1)
    return f"<figure>{text}<figcaption>{escape(caption)}</figcaption></figure>"
