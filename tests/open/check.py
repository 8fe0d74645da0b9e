"""Opens a study's store and the tables of a report with tools of others, and compares what they count.

    python3 tests/open/check.py STUDY REPORT

Needs duckdb, polars, pandas and pyarrow; what cannot be imported is named and passed over. Status 1 where a count differs or
something cannot be opened, 2 where none of the tools is there.
"""

import csv
import importlib
import json
import pathlib
import sys

KINDS = ["readings", "set-aside", "fingersticks", "wear-events", "judgements", "rejects", "contradictions"]


def duckdb(path):
    import duckdb as tool

    query = f"SELECT * FROM read_parquet('{path}')"
    rows, empty = tool.sql(f"SELECT COUNT(*) FROM ({query})").fetchall()[0][0], []
    for column, kind in describe(tool, query):
        if kind == "VARCHAR":
            count = tool.sql(f'SELECT COUNT(*) FROM ({query}) WHERE "{column}" = \'\'').fetchall()[0][0]
            empty += [column] if count else []
    return rows, empty


def describe(tool, query):
    return [(row[0], row[1]) for row in tool.sql(f"DESCRIBE {query}").fetchall()]


def polars(path):
    import polars as tool

    table = tool.read_parquet(path)
    texts = [c for c in table.columns if table[c].dtype in (tool.String, tool.Categorical)]
    return table.height, [c for c in texts if (table[c].cast(tool.String) == "").any()]


def pandas(path):
    import pandas as tool

    table = tool.read_parquet(path)
    texts = [c for c in table.columns if table[c].dtype.kind not in "biufcmM"]
    return len(table), [c for c in texts if (table[c] == "").any()]


def pyarrow(path):
    import pyarrow.parquet as tool

    return tool.read_table(path).num_rows, []


def tools():
    found = []
    for name, opens in [("duckdb", duckdb), ("polars", polars), ("pandas", pandas), ("pyarrow", pyarrow)]:
        try:
            importlib.import_module(name)
            found.append((name, opens))
        except ImportError:
            print(f"NOT opened with {name}: it is not installed")
    return found


def files(study, report):
    """Each Parquet file with the rows that it should have, where something else says how many."""
    store = study / ".whereworn"
    manifest = json.loads((store / "manifest.json").read_text())["manifest"]
    readings = sum(sensor["rows"] for sensor in manifest["sensors"])
    aside = manifest["duplicate_readings"] + manifest["contradicting_readings"]
    of_kind = {"readings": readings, "set-aside": aside}
    for kind in KINDS:
        paths = [store / entry["file"] for entry in manifest["entries"] if entry["kind"] == kind]
        yield kind, paths, of_kind.get(kind)
    for path in sorted((report / "tables").glob("*.parquet")):
        with open(path.with_suffix(".csv"), newline="", encoding="utf-8") as text:
            rows = sum(1 for _ in csv.reader(text)) - 1
        yield path.name, [path], rows


def main(study, report):
    found = tools()
    if not found:
        return 2
    wrong = opened = 0
    for what, paths, expected in files(pathlib.Path(study), pathlib.Path(report)):
        counts = {} if expected is None else {"the program": expected}
        for name, opens in found:
            answers = [opens(path) for path in paths]
            counts[name] = sum(rows for rows, _ in answers)
            for column in sorted({column for _, empty in answers for column in empty}):
                print(f"{what}.{column}: empty text where nothing should be (by {name})")
                wrong += 1
        opened += len(paths)
        if len(set(counts.values())) > 1:
            print(f"{what}: {counts}")
            wrong += 1
    print(f"{opened} files opened with {', '.join(name for name, _ in found)}; {wrong} wrong")
    return 1 if wrong else 0


if __name__ == "__main__":
    if len(sys.argv) != 3:
        sys.exit(__doc__)
    sys.exit(main(*sys.argv[1:]))
