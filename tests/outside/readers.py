"""Opens the tables of a study with general-purpose readers, every warning an error, and holds them
against each other. Argument: folder of the study, in which the tables were also written for
spreadsheets with semicolons. Prints how many tables and cells were compared."""

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


count = 0
for file in sorted(tables.glob("*.parquet")):
    count += 1
    arrow = pyarrow.parquet.read_table(file)
    by_arrow = {n: plain(arrow[n].to_pylist()) for n in arrow.column_names}
    for field in arrow.schema:
        assert field.metadata is None or b"meaning" not in field.metadata or field.metadata[b"meaning"]
    same(by_sqlite(file.stem), by_arrow, f"{file} sqlite")
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
for sheet in book.worksheets[1:]:
    arrow = pyarrow.parquet.read_table(tables / f"{sheet.title}.parquet")
    rows = list(sheet.iter_rows())
    names = [c.value for c in rows[0]]
    assert all(c.data_type != "f" for row in rows for c in row), "a formula"
    read = {n: plain([row[i].value for row in rows[1:]]) for i, n in enumerate(names)}
    same(read, {n: plain(arrow[n].to_pylist()) for n in arrow.column_names}, sheet.title)
assert len(book.worksheets) == 6, book.sheetnames

print(count, cells, "cells compared and equal")
