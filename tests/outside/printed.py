"""Reads the documents of a paper folder with python-docx: the cells of Table 1 are those of its Markdown, and
the other documents have a row for each row of their LaTeX. Argument: folder of the paper."""

import re
import sys
from pathlib import Path

from docx import Document

paper = Path(sys.argv[1])
read = 0


def cells_of(name):
    tables = Document(paper / f"{name}.docx").tables
    assert len(tables) == 1, name
    return [[cell.text for cell in row.cells] for row in tables[0].rows]


def plain(text):
    return re.sub(r"\*\*|&nbsp;", "", text).strip()


screen = [
    [plain(cell) for cell in line.strip("|").split("|")]
    for line in (paper / "table_one.md").read_text(encoding="utf-8").splitlines()
    if line.startswith("|") and not line.startswith("|---")
]
assert cells_of("table_one") == screen, "table_one"

for name in ["table_one", "doses", "comparisons"]:
    latex = (paper / f"{name}.tex").read_text(encoding="utf-8").splitlines()
    rows = [line for line in latex if line.endswith("\\\\") and not line.startswith("\\caption")]
    found = cells_of(name)
    assert len(rows) == len(found) > 3, (name, len(rows), len(found))
    assert all(len(row) == rows[0].count(" & ") + 1 for row in found), name
    read += 1
print(f"{read} documents read")
