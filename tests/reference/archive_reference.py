#!/usr/bin/env python3
"""Reads an archive as strangers do, with DuckDB and with pyarrow, and compares it with what was written.

    pip install duckdb pyarrow            # polars too, if it should be tried
    cargo run -p rimeline-archive --example write_sample -- DIR
    archive_reference.py DIR/archive DIR/EXPECTED.json

Nothing here knows rimeline: only Parquet, the directory layout and the expected values. Exits 1 on the first difference.
"""

import json
import sys
from decimal import Decimal
from pathlib import Path

import duckdb
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.dataset as ds
import pyarrow.parquet as pq

STATE = ["power", "drive", "running_mode", "stage", "door", "compressor", "defrost_origin", "defrost_end"]
READING = ["unit", "time", "received", "late", *STATE, "inputs", "outputs", "status"]
EVENT = ["unit", "time", "received", "late", "kind", *STATE, "inputs", "outputs", "alarm_code", "alarm_text", "by_person"]


def fail(what):
    sys.exit(f"archive_reference: {what}")


def quantity(number, decimals):
    return None if number is None else Decimal(number).scaleb(-decimals)


def same(who, found, expected):
    """Compares two lists of rows and names the first difference."""
    if len(found) != len(expected):
        fail(f"{who}: {len(found)} rows where {len(expected)} were written")
    for found_row, expected_row in zip(found, expected):
        for name, value in expected_row.items():
            if found_row.get(name) != value:
                at = f"{expected_row['unit']} at {expected_row['time']}"
                fail(f"{who}: {name} of {at} is {found_row.get(name)!r} where {value!r} was written")


def expected_rows(expected, channels):
    readings = [
        {name: row[name] for name in READING}
        | {c: quantity(row["values"].get(c), spec["decimals"]) for c, spec in channels.items()}
        for row in expected["readings"]
    ]
    decimals = channels["set_point"]["decimals"]
    events = [
        {name: row.get(name) for name in EVENT} | {"set_point": quantity(row.get("set_point"), decimals)}
        for row in expected["events"]
    ]
    return sorted(readings, key=reading_key), sorted(events, key=event_key)


def reading_key(row):
    return row["unit"], row["time"]


def event_key(row):
    return row["unit"], row["time"], row["kind"]


def with_duckdb(root, channels):
    connection = duckdb.connect()
    connection.execute("set timezone = 'UTC'")

    def rows(dataset, names, decimals_of):
        source = f"read_parquet('{root}/{dataset}/**/*.parquet', hive_partitioning=true, union_by_name=true)"
        types = dict(connection.execute(f"select column_name, column_type from (describe select * from {source})").fetchall())
        for name in ("time", "received"):
            if types[name] != "TIMESTAMP WITH TIME ZONE":
                fail(f"DuckDB: {dataset}.{name} is {types[name]} and not in UTC")
        for name, decimals in decimals_of.items():
            if not types[name].startswith("DECIMAL") or not types[name].endswith(f",{decimals})"):
                fail(f"DuckDB: {dataset}.{name} is {types[name]} where {decimals} decimals belong")
        if types["day"] != "DATE":
            fail(f"DuckDB: the day of the directory is {types['day']}")
        wrong = f"select count(*) from {source} where day != cast(make_timestamp(epoch_ms(time) * 1000) as date)"
        if connection.execute(wrong).fetchone()[0]:
            fail(f"DuckDB: {dataset} has rows in another day's directory")
        select = ", ".join(f"epoch_ms({n}) as {n}" if n in ("time", "received") else n for n in names)
        cursor = connection.execute(f"select {select} from {source}")
        return [dict(zip(names, row)) for row in cursor.fetchall()]

    decimals = {name: spec["decimals"] for name, spec in channels.items()}
    readings = rows("readings", [*READING, *channels], decimals)
    events = rows("events", [*EVENT, "set_point"], {"set_point": decimals["set_point"]})
    return sorted(readings, key=reading_key), sorted(events, key=event_key)


def with_pyarrow(root, channels):
    def rows(dataset, names):
        files = sorted(str(path) for path in Path(root, dataset).rglob("*.parquet"))
        schema = pa.unify_schemas([pq.read_schema(file) for file in files])
        table = ds.dataset(files, schema=schema, format="parquet").to_table(columns=names)
        for name in ("time", "received"):
            if table.schema.field(name).type != pa.timestamp("ms", tz="UTC"):
                fail(f"pyarrow: {dataset}.{name} is {table.schema.field(name).type}")
            at = table.schema.get_field_index(name)
            table = table.set_column(at, name, pc.cast(table[name], pa.int64()))
        return table.to_pylist()

    readings = rows("readings", [*READING, *channels])
    events = rows("events", [*EVENT, "set_point"])
    return sorted(readings, key=reading_key), sorted(events, key=event_key)


def with_polars(root, channels):
    import polars as pl

    def rows(dataset, names):
        files = sorted(Path(root, dataset).rglob("*.parquet"))
        scans = [pl.scan_parquet(file, hive_partitioning=False) for file in files]
        frame = pl.concat(scans, how="diagonal").select(names).collect()
        if frame.schema["time"] != pl.Datetime("ms", "UTC"):
            fail(f"polars: {dataset}.time is {frame.schema['time']}")
        return frame.with_columns(pl.col("time", "received").dt.epoch("ms")).to_dicts()

    readings = rows("readings", [*READING, *channels])
    events = rows("events", [*EVENT, "set_point"])
    return sorted(readings, key=reading_key), sorted(events, key=event_key)


def check_metadata(root, contract, channels):
    """What each file says about itself: types, units of measure, encodings, order of rows."""
    for path in sorted(Path(root).rglob("*.parquet")):
        file = pq.ParquetFile(path)
        texts = {k.decode(): v.decode() for k, v in file.metadata.metadata.items()}
        if texts["rimeline.contract"] != contract or texts["rimeline.format"] != "1":
            fail(f"{path}: contract {texts.get('rimeline.contract')}, format {texts.get('rimeline.format')}")
        if not file.metadata.created_by.startswith("rimeline version "):
            fail(f"{path}: written by {file.metadata.created_by}")
        described = json.loads(texts["rimeline.channels"])
        for i, column in enumerate(file.schema):
            chunk = file.metadata.row_group(0).column(i)
            logical = json.loads(column.logical_type.to_json())
            if column.name in ("time", "received"):
                wanted = {"Type": "Timestamp", "isAdjustedToUTC": True, "timeUnit": "milliseconds"}
                if any(logical.get(key) != value for key, value in wanted.items()):
                    fail(f"{path}: {column.name} is {logical}")
            if column.name in channels:
                spec = channels[column.name]
                if logical["Type"] != "Decimal" or logical["scale"] != spec["decimals"]:
                    fail(f"{path}: {column.name} is {logical}")
                field = file.schema_arrow.field(column.name)
                metadata = {k.decode(): v.decode() for k, v in field.metadata.items()}
                if metadata.get("ucum") != spec["ucum"] or metadata.get("decimals") != str(spec["decimals"]):
                    fail(f"{path}: {column.name} says {metadata}")
                if described[column.name] != spec:
                    fail(f"{path}: {column.name} is described as {described[column.name]}")
                if "DELTA_BINARY_PACKED" not in chunk.encodings or chunk.compression != "ZSTD":
                    fail(f"{path}: {column.name} is stored as {chunk.encodings} {chunk.compression}")
        table = file.read(columns=["unit", "time"])
        pairs = list(zip(table["unit"].to_pylist(), pc.cast(table["time"], pa.int64()).to_pylist()))
        if pairs != sorted(pairs):
            fail(f"{path}: rows are not sorted by unit and time")


def main():
    if len(sys.argv) != 3:
        sys.exit(__doc__)
    root, expected = sys.argv[1], json.loads(Path(sys.argv[2]).read_text())
    channels = expected["channels"]
    files = list(Path(root).rglob("*.parquet"))
    if len(files) != expected["files"]:
        fail(f"{len(files)} files where the manifest names {expected['files']}")
    check_metadata(root, expected["contract"], channels)
    readings, events = expected_rows(expected, channels)
    readers = {"DuckDB": with_duckdb, "pyarrow": with_pyarrow}
    try:
        import polars  # noqa: F401

        readers["polars"] = with_polars
    except ImportError:
        pass
    for name, read in readers.items():
        found_readings, found_events = read(root, channels)
        same(f"{name} readings", found_readings, readings)
        same(f"{name} events", found_events, events)
    values = sum(len(row["values"]) for row in expected["readings"])
    print(
        f"{', '.join(readers)} agree: {len(readings)} readings with {values} numbers, {len(events)} events, "
        f"{len(files)} files"
    )


if __name__ == "__main__":
    main()
