"""The tables of a study as pandas frames, with types, units and labels.

Research and quality review only, not for treatment decisions; local protocol and licensed practice
decide.

Lies in the folder of the study and needs pandas:

    from read_tables import read, tables

    lesions = read("analysis")
    lesions.attrs["labels"]["volume_cc"], lesions.attrs["units"]["volume_cc"]
    tables()        # the names of all tables

Texts are `string`, whole numbers `Int64`, numbers `float64`, yes and no `boolean`; a column that holds
one of a list of words is a category with all words of the list. What is missing stays missing.
"""

import sqlite3
from contextlib import closing
from pathlib import Path

import pandas as pd

KINDS = {"text": "string", "integer": "Int64", "real": "float64", "boolean": "boolean"}


def _opened(study):
    path = (Path(study) / "study.sqlite").resolve(strict=True)
    return closing(sqlite3.connect(path.as_uri() + "?mode=ro", uri=True))


def tables(study=Path(__file__).parent):
    """The names of all tables."""
    with _opened(study) as database:
        rows = database.execute('SELECT DISTINCT "table" FROM dictionary ORDER BY 1')
        return [name for (name,) in rows]


def read(table, study=Path(__file__).parent):
    """One table; labels, units and meanings of its columns are in its `attrs`, by column."""
    with _opened(study) as database:
        sql = 'SELECT * FROM dictionary WHERE "table" = ? AND value IS NULL'
        known = pd.read_sql_query(sql, database, params=[table])
        if known.empty:
            raise KeyError(f"no table {table}; there are {', '.join(tables(study))}")
        frame = pd.read_sql_query(f'SELECT * FROM "{table}"', database)
    for column, kind, words in zip(known["column"], known["type"], known["allowed_values"]):
        of_words = isinstance(words, str)
        as_kind = pd.CategoricalDtype(words.split(" | ")) if of_words else KINDS[kind]
        frame[column] = frame[column].astype(as_kind)
    for name, source in [("labels", "label"), ("units", "unit"), ("meanings", "meaning")]:
        told = known[known[source].notna()]
        frame.attrs[name] = dict(zip(told["column"], told[source]))
    return frame
