"""Opens the tables of a study with general-purpose readers, every warning an error, and holds them
against each other. Argument: folder of the study, in which the tables were also written for
spreadsheets with semicolons. Prints how many tables and cells were compared."""

import math
import sqlite3
import sys
import warnings
from pathlib import Path

warnings.simplefilter("error")

import openpyxl
import pandas as pd
import polars as pl
import pyarrow.csv
import pyarrow.parquet

study = Path(sys.argv[1])
tables = study / "tables"
cells = 0


def typed(frame, schema):
    """Columns of a table read from text as their types in Parquet say."""
    out = {}
    for name in frame.columns:
        kind = schema.field(name).type
        text = frame[name]
        if "string" in str(kind):
            out[name] = [None if v is None or v == "" or v != v else str(v) for v in text]
        elif str(kind) == "bool":
            out[name] = [None if v in ("", None) or v != v else str(v).lower() == "true" for v in text]
        else:
            out[name] = [None if v in ("", None) or v != v else float(v) for v in text]
    return out


def plain(column):
    return [float(v) if isinstance(v, int) and not isinstance(v, bool) else v for v in column]


def unescaped(value):
    """CSV and spreadsheets of text put an apostrophe before what would be a formula."""
    return value[1:] if isinstance(value, str) and value.startswith("'") else value


def same(one, other, what):
    global cells
    assert list(one) == list(other), what
    for name in one:
        left = [unescaped(v) for v in one[name]]
        right = [unescaped(v) for v in other[name]]
        cells += len(left)
        if left != right:
            at = next(i for i, (a, b) in enumerate(zip(left, right)) if a != b)
            sys.exit(f"{what} {name} row {at}: {left[at]!r} {right[at]!r}")


database = sqlite3.connect(f"file:{study / 'study.sqlite'}?mode=ro", uri=True)


def by_sqlite(name):
    """A table of the database, yes and no as such where the definition says so."""
    rows = database.execute(f'SELECT * FROM "{name}"')
    names = [c[0] for c in rows.description]
    kinds = [kind for _, _, kind, *_ in database.execute(f'PRAGMA table_info("{name}")')]
    read = {n: [] for n in names}
    for row in rows:
        for n, kind, value in zip(names, kinds, row):
            read[n].append(bool(value) if kind == "BOOLEAN" and value is not None else value)
    return {n: plain(column) for n, column in read.items()}


database.row_factory = sqlite3.Row
described = {
    (row["table"], row["column"]): row
    for row in database.execute("SELECT * FROM dictionary WHERE value IS NULL")
}
database.row_factory = None
assert database.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
assert database.execute("PRAGMA foreign_key_check").fetchall() == [], "a row that names none"

count = 0
for file in sorted(tables.glob("*.parquet")):
    count += 1
    arrow = pyarrow.parquet.read_table(file)
    by_arrow = {n: plain(arrow[n].to_pylist()) for n in arrow.column_names}
    for field in arrow.schema:
        column = described[file.stem, field.name]
        told = {k.decode(): v.decode() for k, v in field.metadata.items()}
        wanted = {"description": column["meaning"], "label": column["label"], "unit": column["unit"]}
        assert told == {k: v for k, v in wanted.items() if v}, (file, field.name, told)
    same(by_sqlite(file.stem), by_arrow, f"{file} sqlite")
    keys = [n for _, n, *_, place in database.execute(f'PRAGMA table_info("{file.stem}")') if place]
    keys += [n for _, _, n in database.execute(f'PRAGMA index_info("{file.stem}_key")')]
    assert keys, f"{file.stem} has no key"
    by_polars = pl.read_parquet(file)
    same({n: plain(by_polars[n].to_list()) for n in by_polars.columns}, by_arrow, f"{file} polars")
    by_pandas = pd.read_parquet(file)
    assert list(by_pandas.columns) == arrow.column_names and len(by_pandas) == arrow.num_rows, file
    text = file.with_suffix(".csv")
    if not text.exists():
        continue
    as_text = dict(dtype=str, keep_default_na=False)
    same(typed(pd.read_csv(text, **as_text), arrow.schema), by_arrow, f"{text} pandas")
    # Guessed types, as a user reads them; a column of numbers must be numbers.
    guessed = pd.read_csv(text, low_memory=False)
    for field in arrow.schema:
        if "double" in str(field.type):
            empty = guessed[field.name].isna().all()
            assert pd.api.types.is_numeric_dtype(guessed[field.name]) or empty, field
    assert pl.read_csv(text, infer_schema_length=None).height == arrow.num_rows, text
    assert pyarrow.csv.read_csv(text).num_rows == arrow.num_rows, text
    regional = study / "spreadsheet" / text.name
    assert regional.read_bytes().startswith(b"\xef\xbb\xbf"), regional
    read = pd.read_csv(regional, sep=";", decimal=",", encoding="utf-8-sig", low_memory=False)
    same_types = [a == b for a, b in zip(read.dtypes, guessed.dtypes)]
    assert list(read.columns) == list(guessed.columns) and all(same_types), regional
    assert read.equals(guessed), regional

book = openpyxl.load_workbook(study / "study.xlsx")
assert book.sheetnames[0] == "read_me"
assert book.worksheets[0]["B1"].value.startswith("Research and quality review only")
columns_of = {p.stem: pyarrow.parquet.read_table(p) for p in tables.glob("*.parquet")}


def bounds(title, name):
    """Lower and upper bound of a value by row; none for a column that is no value."""
    unit = described[title, name]["unit"]
    end = "" if not unit else "_" + unit.lower().replace("%", "percent")
    stem = name.removesuffix(end)
    beside = columns_of["analysis_bounds" if title == "analysis" else title]
    if f"{stem}_low{end}" not in beside.column_names:
        return None
    return beside[f"{stem}_low{end}"].to_pylist(), beside[f"{stem}_high{end}"].to_pylist()


def rounded(title, exact, read):
    """Values moved by no more than a quarter of the width of their bounds; bounds only outwards."""
    global cells
    moved = 0
    for name in exact.column_names:
        if str(exact.schema.field(name).type) != "double":
            continue
        width = bounds(title, name)
        if width is None and ("_low" in name or "_high" in name):
            continue
        for row, (a, b) in enumerate(zip(exact[name].to_pylist(), read.pop(name))):
            cells += 1
            where = (title, name, row, a, b)
            assert (a is None) == (b is None), where
            if a is None:
                continue
            low, high = (width[0][row], width[1][row]) if width else (None, None)
            if low is not None and high is not None and high > low:
                assert abs(a - b) <= 0.25 * (high - low) * (1 + 1e-9) + 1e-12 * abs(a), where
                digits = f"{abs(b) / 10 ** math.floor(math.log10((high - low) / 2)):.6f}"
                assert digits.endswith("000000"), (where, digits)
                moved += a != b
            else:
                assert abs(a - b) <= 5e-6 * abs(a), where
    return moved


moved = 0
for sheet in book.worksheets[1:]:
    exact = columns_of[sheet.title]
    rows = list(sheet.iter_rows())
    labels, units, names = ([c.value or "" for c in row] for row in rows[:3])
    assert names == exact.column_names, sheet.title
    for name, label, unit in zip(names, labels, units):
        column = described[sheet.title, name]
        assert (label, unit or None) == (column["label"], column["unit"]), (sheet.title, name)
    assert all(c.data_type != "f" for row in rows for c in row), "a formula"
    read = {n: plain([row[i].value for row in rows[3:]]) for i, n in enumerate(names)}
    moved += rounded(sheet.title, exact, read)
    for name in list(read):
        if "_low" in name or "_high" in name:
            outward = 1 if "_low" in name else -1
            for a, b in zip(exact[name].to_pylist(), read.pop(name)):
                cells += 1
                assert (a is None) == (b is None), (sheet.title, name)
                assert a is None or outward * (a - b) >= -5e-6 * abs(a), (sheet.title, name, a, b)
    same(read, {n: plain(exact[n].to_pylist()) for n in read}, sheet.title)
assert moved > 20, moved
assert book.sheetnames[1:3] == ["analysis", "analysis_bounds"], book.sheetnames
assert len(book.worksheets) == 8, book.sheetnames

# The script that comes with the study reads the same, with types and labels.
sys.path.insert(0, str(study))
from read_tables import read as read_table
from read_tables import tables as all_tables

assert all_tables(study) == sorted(columns_of), all_tables(study)
KINDS = {"string": ("string", "category"), "bool": ("boolean",), "int64": ("Int64",), "double": ("float64",)}
for name, exact in columns_of.items():
    frame = read_table(name, study)
    for field in exact.schema:
        kinds = next(v for k, v in KINDS.items() if k in str(field.type))
        assert str(frame[field.name].dtype) in kinds, (name, field.name, frame[field.name].dtype)
        assert frame.attrs["labels"][field.name] == described[name, field.name]["label"]
    values = frame.astype(object).where(frame.notna(), None)
    same({n: plain(values[n].tolist()) for n in values}, {n: plain(exact[n].to_pylist()) for n in exact.column_names}, name)

print(count, cells, "cells compared and equal")
